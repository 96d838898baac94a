// Keys for pages that are worked through one after the other: a button or link with data-key="k" is pressed by k; where
// two have a key, the later one on the page is meant. '?' lists the keys of the page, with those of other scripts, which
// the page says in <ul data-keys hidden><li><kbd>j</kbd> what it does</li></ul>. Nothing happens while somebody writes in a field or holds Ctrl, Alt or Meta; Escape
// leaves a field.

const writing = (target) => target.closest("input:not([type=checkbox], [type=radio]), textarea, select, [contenteditable]");

const bound = () => [...document.querySelectorAll("[data-key]")].filter((each) => !each.disabled);

// What a control is called, without its key hint.
function wordOf(control) {
  const copy = control.cloneNode(true);
  copy.querySelectorAll("kbd").forEach((hint) => hint.remove());
  return copy.textContent.replace(/\s+/g, " ").trim();
}

// Key and word of each line: later ones take the place of earlier ones.
function rows() {
  const said = [...document.querySelectorAll("[data-keys] > li")];
  const others = said.map((each) => [[...each.querySelectorAll("kbd")].map((key) => key.textContent).join(" "), wordOf(each)]);
  return new Map([...others, ...bound().map((each) => [each.dataset.key, wordOf(each)]), ["?", "This list"]]);
}

function listKeys() {
  const dialog = document.createElement("dialog");
  dialog.setAttribute("aria-label", "Keys of this page");
  const table = document.createElement("table");
  for (const [key, word] of rows()) {
    const row = table.insertRow();
    row.insertCell().appendChild(document.createElement("kbd")).textContent = key;
    row.insertCell().textContent = word;
  }
  const close = document.createElement("button");
  close.textContent = "Close";
  close.addEventListener("click", () => dialog.close());
  dialog.append(table, close);
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
  // The button has the focus; a long list is read from its start.
  dialog.scrollTop = 0;
}

document.addEventListener("keydown", (event) => {
  if (event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  if (event.key === "Escape" && writing(event.target)) event.target.blur();
  const open = document.querySelector("dialog[open]");
  if (open && event.key === "?") open.close();
  if (writing(event.target) || open) return;
  if (event.key === "?") {
    event.preventDefault();
    listKeys();
    return;
  }
  const control = bound().findLast((each) => each.dataset.key === event.key);
  if (control) {
    event.preventDefault();
    control.focus();
    control.click();
    // What a key unfolds is written in next.
    if (control.matches("details[open] > summary")) control.parentElement.querySelector("input:not([type=hidden]), textarea")?.focus();
  }
});
