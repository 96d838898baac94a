// Shows what a form would do while it is filled in: the page it leads to is asked for, and of it each element with
// `data-preview-part` (it has an id) takes the place of the one here.
//
//   <form method="get" data-preview> <li><input type="checkbox" ...> <div id="..." data-preview-part="fits"></div></li> </form>
//
// A tick box in the same list item follows what the part says ('fits' or nothing) until somebody ticks it by hand.
// Without script the form's own button does the same.

const REST_MS = 250;

function watch(form) {
  let timer = 0;
  let asked = null;

  async function show() {
    asked?.abort();
    asked = new AbortController();
    const address = new URL(form.action);
    for (const [name, value] of new FormData(form)) {
      // What is ticked follows what fits.
      if (value && name !== "once" && name !== "segment") address.searchParams.append(name, value);
    }
    let text;
    try {
      const response = await fetch(address, { headers: { Accept: "text/html" }, signal: asked.signal });
      if (!response.ok) return;
      text = await response.text();
    } catch {
      // The next change asks again; the button still works.
      return;
    }
    const page = new DOMParser().parseFromString(text, "text/html");
    for (const fresh of page.querySelectorAll("[data-preview-part]")) {
      const here = document.getElementById(fresh.id);
      if (!here) continue;
      here.replaceChildren(...document.importNode(fresh, true).childNodes);
      const box = here.closest("li")?.querySelector("input[type=checkbox]");
      if (box && !box.dataset.byHand) box.checked = fresh.dataset.previewPart === "fits";
    }
  }
  form.addEventListener("input", (event) => {
    if (event.target.name === "segment") {
      event.target.dataset.byHand = "1";
      return;
    }
    clearTimeout(timer);
    timer = setTimeout(show, REST_MS);
  });
}

const watchAll = () => document.querySelectorAll("form[data-preview]").forEach(watch);
watchAll();
// The forms of a part that was renewed are new ones.
document.addEventListener("renewed", watchAll);
