// Keys for pages that are worked through one after the other: a button or link with data-key="k" is pressed by k.
// '?' lists the keys of the page. Nothing happens while somebody writes in a field or holds Ctrl, Alt or Meta; Escape
// leaves a field.

const writing = (target) => target.closest("input:not([type=checkbox], [type=radio]), textarea, select, [contenteditable]");

const bound = () => [...document.querySelectorAll("[data-key]")].filter((each) => !each.disabled);

// What a control is called, without its key hint.
function wordOf(control) {
  const copy = control.cloneNode(true);
  copy.querySelectorAll("kbd").forEach((hint) => hint.remove());
  return copy.textContent.trim();
}

function listKeys() {
  const dialog = document.createElement("dialog");
  dialog.setAttribute("aria-label", "Keys of this page");
  const table = document.createElement("table");
  const rows = bound().map((each) => [each.dataset.key, wordOf(each)]);
  for (const [key, word] of [...rows, ["?", "This list"]]) {
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
  const control = bound().find((each) => each.dataset.key === event.key);
  if (control) {
    event.preventDefault();
    control.focus();
    control.click();
    // What a key unfolds is written in next.
    if (control.matches("details[open] > summary")) control.parentElement.querySelector("input:not([type=hidden]), textarea")?.focus();
  }
});
