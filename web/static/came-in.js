// Shows what an upload brought without leaving the page.
//
//   <form data-put="..."> ... <p data-when-done hidden><a href="#ID OF A HEADING">...</a></p> </form>
//   <div data-came-in> ... <h2 id="ID"> ... </div>
//
// When all files are in (upload.js says `done`), the page is asked for once more and what it holds in `data-came-in`
// takes the place of what is here, unless somebody began to fill in a form there: then the link does it, when pressed.

const form = document.querySelector("form[data-put]");
const place = document.querySelector("[data-came-in]");
let touched = false;
let stale = true;
let queue = Promise.resolve();

async function renew() {
  const response = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!response.ok) return;
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const fresh = page.querySelector("[data-came-in]");
  if (!fresh || touched) return;
  place.replaceChildren(...document.importNode(fresh, true).childNodes);
  stale = false;
  document.dispatchEvent(new Event("renewed"));
}

// One after the other: a later answer would take away what somebody has begun to look at.
function later() {
  // Without an answer the link still leads there.
  queue = queue.then(renew).catch(() => {});
  return queue;
}

if (form && place) {
  place.addEventListener("input", () => { touched = true; });
  form.addEventListener("done", () => {
    stale = true;
    later();
  });
  form.querySelector("[data-when-done] a").addEventListener("click", async (event) => {
    if (!stale) return;
    event.preventDefault();
    touched = false;
    await queue;
    if (stale) await later();
    if (stale) location.reload();
    else document.querySelector(event.target.hash)?.scrollIntoView();
  });
}
