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

if (form && place) {
  place.addEventListener("input", () => { touched = true; });
  form.addEventListener("done", () => {
    stale = true;
    // Without an answer the link still leads there.
    renew().catch(() => {});
  });
  form.querySelector("[data-when-done] a").addEventListener("click", async (event) => {
    if (!stale) return;
    event.preventDefault();
    touched = false;
    await renew().catch(() => {});
    if (stale) location.reload();
    else document.querySelector(event.target.hash)?.scrollIntoView();
  });
}
