// Checks the text while it is written: a while after the last stroke it is sent to the page's own check, and what the
// answer says of it takes the place of what stood there. A chosen file is read into the text.

const form = document.querySelector("form[data-live]");
const text = form.querySelector("textarea");
const PAUSE_MS = 600;
let timer;
let running;

async function check() {
  running?.abort();
  running = new AbortController();
  const { signal } = running;
  try {
    const answer = await fetch(form.dataset.live, { method: "POST", body: new URLSearchParams(new FormData(form)), signal });
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const found = page.getElementById("checked");
    if (found) document.getElementById("checked").replaceWith(document.adoptNode(found));
  } catch (error) {
    if (error.name !== "AbortError") throw error;
  }
}

function later() {
  clearTimeout(timer);
  timer = setTimeout(check, PAUSE_MS);
}

if (!text.matches(":disabled")) {
  text.addEventListener("input", later);
  form.querySelector("select").addEventListener("change", later);
  const field = form.querySelector(".file");
  field.hidden = false;
  field.querySelector("input").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    text.value = await file.text();
    const form_of = { srt: "srt", vtt: "vtt", md: "markdown", markdown: "markdown" };
    form.querySelector("select").value = form_of[file.name.split(".").pop().toLowerCase()] ?? "plain";
    check();
  });
}
