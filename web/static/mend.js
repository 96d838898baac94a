// Sends waiting logs to another cell, many at once. Logs are picked by keyboard, mouse or touch; a cell takes the picked
// ones by its key, a press or a drag; what is chosen in the fields of one picked log counts for all picked ones.
//
//   <form data-mend>
//     <li data-log="7"> <button class="pick" aria-pressed> <input type="checkbox" name="segment">
//       <select name="tuning-7"> <select name="scene-7"> <select name="setting-7"> </li>
//     <p data-said> <button data-take-back> <input type="search"> <button data-cell="TUNING SCENE SETTING" data-name><kbd></kbd></button>
//   </form>
//
// All that is done is to fill in the logs' own fields, as somebody without script does by hand; preview.js then shows what
// the server makes of them.

const FIELDS = ["tuning", "scene", "setting"];

class Mending {
  #form; #rows; #cells; #find; #said; #takeBack; #current = null; #anchor = null; #moves = []; #known = new Map();

  constructor(form) {
    this.#form = form;
    this.#rows = [...form.querySelectorAll("[data-log]")];
    this.#cells = [...form.querySelectorAll("[data-cell]")];
    this.#find = form.querySelector("input[type=search]");
    this.#said = form.querySelector("[data-said]");
    this.#takeBack = form.querySelector("[data-take-back]");
    form.querySelectorAll("[data-script]").forEach((each) => { each.hidden = false; });
    this.#rows.forEach((row) => this.#watch(row));
    this.#cells.forEach((cell) => this.#receive(cell));
    this.#takeBack.addEventListener("click", () => this.takeBack());
    form.addEventListener("change", (event) => this.#chosen(event.target));
    // What is looked for is no part of the form, and Enter must not send it.
    this.#find.addEventListener("input", (event) => {
      event.stopPropagation();
      this.#narrow();
    });
    this.#find.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      const first = this.#cells.find((cell) => !cell.closest("li").hidden);
      if (first) this.#send(first);
      this.#find.blur();
    });
    this.#narrow();
    this.#note();
    this.#say();
  }

  #field(row, name) {
    return row.querySelector(`select[name="${name}-${row.dataset.log}"]`);
  }

  #fields(row) {
    return FIELDS.map((name) => this.#field(row, name)).filter(Boolean);
  }

  #isPicked = (row) => row.classList.contains("picked");

  #picked() {
    return this.#rows.filter(this.#isPicked);
  }

  #pick(row, on) {
    row.classList.toggle("picked", on);
    row.querySelector(".pick").setAttribute("aria-pressed", String(on));
  }

  // Picks one log or leaves it; with `all`, picks all from the one that was picked before.
  #toggle(row, all) {
    if (all && this.#anchor) this.#span(this.#anchor, row);
    else this.#pick(row, !this.#isPicked(row));
    this.#anchor = row;
    this.#current = row;
    this.#say();
  }

  #span(one, other) {
    const [from, to] = [this.#rows.indexOf(one), this.#rows.indexOf(other)].sort((a, b) => a - b);
    this.#rows.slice(from, to + 1).forEach((row) => this.#pick(row, true));
  }

  #watch(row) {
    row.draggable = true;
    row.querySelector(".pick").addEventListener("click", (event) => this.#toggle(row, event.shiftKey));
    row.addEventListener("focusin", () => { this.#current = row; });
    row.addEventListener("dragstart", (event) => {
      if (!this.#isPicked(row)) {
        this.#rows.forEach((other) => this.#pick(other, other === row));
        this.#say();
      }
      const picture = document.createElement("div");
      picture.className = "dragged";
      picture.textContent = this.#count(this.#picked());
      document.body.append(picture);
      event.dataTransfer.setDragImage(picture, 0, 0);
      event.dataTransfer.setData("text/plain", picture.textContent);
      // The picture is taken when this returns.
      setTimeout(() => picture.remove());
    });
  }

  #receive(cell) {
    // Files that are dragged over the page are none of its logs.
    const ours = (event) => !event.dataTransfer.types.includes("Files");
    cell.addEventListener("click", () => this.#send(cell));
    cell.addEventListener("dragover", (event) => {
      if (!ours(event)) return;
      event.preventDefault();
      cell.classList.add("over");
    });
    cell.addEventListener("dragleave", () => cell.classList.remove("over"));
    cell.addEventListener("drop", (event) => {
      cell.classList.remove("over");
      if (!ours(event)) return;
      event.preventDefault();
      this.#send(cell);
    });
  }

  // The picked logs, or the one at hand, go to this cell.
  #send(cell) {
    const picked = this.#picked();
    const rows = picked.length || !this.#current ? picked : [this.#current];
    if (!rows.length) {
      this.#say("Pick the logs first.");
      return;
    }
    const to = cell.dataset.cell.split(" ");
    for (const row of rows) FIELDS.forEach((name, nth) => { this.#field(row, name).value = to[nth]; });
    this.#moved(rows, cell.dataset.name);
    this.#form.dispatchEvent(new Event("input", { bubbles: true }));
  }

  // What somebody chose at one of the picked logs is chosen at all of them.
  #chosen(select) {
    const row = select.closest("[data-log]");
    if (!row || !this.#fields(row).includes(select)) return;
    const name = select.name.split("-")[0];
    const rows = this.#isPicked(row) ? this.#picked() : [row];
    rows.forEach((each) => { this.#field(each, name).value = select.value; });
    this.#moved(rows, select.selectedOptions[0].textContent);
    if (rows.length > 1) this.#form.dispatchEvent(new Event("input", { bubbles: true }));
  }

  #moved(rows, where) {
    const fields = rows.flatMap((row) => this.#fields(row));
    this.#moves.push({ rows, before: fields.map((field) => [field, this.#known.get(field)]) });
    this.#note();
    rows.forEach((row) => this.#pick(row, false));
    this.#say(`${this.#count(rows)} sent: ${where}.`);
  }

  takeBack() {
    const last = this.#moves.pop();
    if (!last) return;
    last.before.forEach(([field, value]) => { field.value = value; });
    this.#note();
    this.#rows.forEach((row) => this.#pick(row, last.rows.includes(row)));
    this.#say(`Taken back; ${this.#count(last.rows)} picked.`);
    this.#form.dispatchEvent(new Event("input", { bubbles: true }));
  }

  // What the fields hold now, for the next move to be taken back to.
  #note() {
    for (const row of this.#rows) this.#fields(row).forEach((field) => this.#known.set(field, field.value));
    this.#takeBack.disabled = !this.#moves.length;
  }

  // Shows the cells that hold all words, and gives the first nine a digit.
  #narrow() {
    const words = this.#find.value.toLowerCase().split(/\s+/).filter(Boolean);
    let nth = 0;
    for (const cell of this.#cells) {
      const text = cell.dataset.name.toLowerCase();
      const shown = words.every((word) => text.includes(word));
      cell.closest("li").hidden = !shown;
      const digit = shown && ++nth <= 9 ? String(nth) : "";
      cell.querySelector("kbd").textContent = digit;
      if (digit) cell.dataset.key = digit;
      else delete cell.dataset.key;
    }
  }

  #count = (rows) => (rows.length === 1 ? "1 log" : `${rows.length} logs`);

  #say(words) {
    const picked = this.#picked();
    this.#said.textContent = words ?? (picked.length ? `${this.#count(picked)} picked` : "No log is picked.");
  }

  #go(step, all) {
    const at = this.#rows.indexOf(this.#current);
    const next = this.#rows[at < 0 ? 0 : Math.min(this.#rows.length - 1, Math.max(0, at + step))];
    if (all) {
      this.#span(this.#current ?? next, next);
      this.#anchor = next;
      this.#say();
    }
    next.querySelector(".pick").focus();
    next.scrollIntoView({ block: "nearest" });
  }

  // Whether this key was one of the list's.
  key({ key, shiftKey, target }) {
    const inList = target.closest("[data-log]");
    const letter = key.length === 1 ? key.toLowerCase() : key;
    if (letter === "j" || (inList && key === "ArrowDown")) this.#go(1, shiftKey);
    else if (letter === "k" || (inList && key === "ArrowUp")) this.#go(-1, shiftKey);
    else if (letter === "x" && this.#current) this.#toggle(this.#current, shiftKey);
    else if (letter === "t" && this.#current) this.#current.querySelector("[name=segment]").click();
    else if (key === "Escape") {
      this.#rows.forEach((row) => this.#pick(row, false));
      this.#say();
    } else if (/^[1-9]$/.test(key)) {
      const cell = this.#cells.find((each) => each.dataset.key === key);
      if (!cell) return false;
      this.#send(cell);
    } else if (letter === "u" && this.#moves.length) this.takeBack();
    else return false;
    return true;
  }
}

let mending = null;
const begin = () => {
  const form = document.querySelector("form[data-mend]");
  mending = form && new Mending(form);
};
begin();
// The form of a part that was renewed is a new one.
document.addEventListener("renewed", begin);

// Digits and u leave the focus at the log, so that the next one is a key away: keys.js would take it to the button.
document.addEventListener("keydown", (event) => {
  if (!mending || event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || document.querySelector("dialog[open]")) return;
  const field = event.target.closest("input:not([type=checkbox], [type=radio]), textarea, select");
  if (!field && mending.key(event)) event.preventDefault();
});
