// Zoom and mark on a strip. The server draws: this script asks it for another stretch and puts the picture in place.
//
//   <div class="strip chart" data-src="ADDRESS" data-end="SECONDS" tabindex="0"> <svg data-left data-right data-from data-to> </div>
//
// ADDRESS answers `?from=&to=&width=` (seconds, pixels) with a strip SVG. Wheel, + and - zoom; arrows move; 0 shows
// all; dragging marks a stretch; Enter zooms to the mark, Escape drops it. Fields with `data-mark="from"` and
// `data-mark="to"` follow the mark and set it; `data-frame`, asked for `?from=&to=`, says in `[data-readout]` what the
// frame under the pointer is; `details[data-marks]` open for it, and what has
// `data-marked` shows while something is marked. In a form `data-rows` the row that has the focus takes the
// mark from the one that had it. The shown stretch stands in the page's own address, to be shared.

const SHARPEN_MS = 40;
const READ_MS = 60;
const SMALLEST_S = 0.01;

class StripView {
  #box; #end; #timer = 0; #asked = null; #mark = null; #brush; #reading = 0;

  constructor(box) {
    this.#box = box;
    this.#end = Number(box.dataset.end);
    this.#brush = document.createElement("div");
    this.#brush.className = "brush";
    this.#brush.hidden = true;
    box.append(this.#brush);
    const { from, to } = this.#picture();
    this.from = from;
    this.to = to;
    box.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    box.addEventListener("keydown", (event) => this.#key(event));
    box.addEventListener("pointerdown", (event) => this.#drag(event));
    const readout = document.querySelector("[data-readout]");
    if (box.dataset.frame && readout) {
      box.addEventListener("pointermove", (event) => this.#read(event.clientX, readout));
    }
    // live.js: something on it changed.
    box.addEventListener("refresh", () => this.#show(this.from, this.to));
    for (const field of this.#fields()) field.addEventListener("input", () => this.#markFromFields());
    for (const rows of document.querySelectorAll("form[data-rows]")) {
      rows.addEventListener("focusin", (event) => this.#markRow(rows, event.target.closest("tr")));
      rows.addEventListener("input", () => this.#markFromFields());
    }
    this.#markFromFields();
    box.classList.add("live");
    new ResizeObserver(() => this.#fit()).observe(box);
  }

  // What the picture at hand shows, and where its plot stands in pixels of the page.
  #picture() {
    const svg = this.#box.querySelector("svg[data-from]");
    const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    const get = (name) => Number(svg.dataset[name]);
    return { svg, from: get("from"), to: get("to"), left: get("left") * scale, right: get("right") * scale };
  }

  #width() {
    return Math.round(Math.max(320, this.#box.clientWidth));
  }

  // A picture made for another width has letters of the wrong size: ask for one that fits.
  #fit() {
    const made = this.#picture().svg.viewBox.baseVal.width;
    if (Math.abs(this.#width() / made - 1) > 0.1) this.#show(this.from, this.to);
    else this.#place();
  }

  #fields() {
    return document.querySelectorAll("input[data-mark]");
  }

  #markRow(rows, row) {
    const times = row?.querySelectorAll("input.time") ?? [];
    if (times.length !== 2) return;
    for (const field of rows.querySelectorAll("[data-mark]")) delete field.dataset.mark;
    [times[0].dataset.mark, times[1].dataset.mark] = ["from", "to"];
    this.#mark = [Number(times[0].value), Number(times[1].value)];
    if (!(this.#mark[1] > this.#mark[0])) this.#mark = null;
    this.#place();
  }

  #timeAt(clientX) {
    const { svg, left, right } = this.#picture();
    const x = clientX - svg.getBoundingClientRect().left;
    const share = Math.min(1, Math.max(0, (x - left) / (right - left)));
    return this.from + share * (this.to - this.from);
  }

  #show(from, to) {
    const length = Math.min(this.#end, Math.max(SMALLEST_S, to - from));
    this.from = Math.min(Math.max(0, from), this.#end - length);
    this.to = this.from + length;
    this.#box.classList.add("loading");
    this.#place();
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#fetch(), SHARPEN_MS);
  }

  #zoom(factor, around = (this.from + this.to) / 2) {
    this.#show(around - (around - this.from) * factor, around + (this.to - around) * factor);
  }

  async #fetch() {
    this.#asked?.abort();
    this.#asked = new AbortController();
    const address = new URL(this.#box.dataset.src, location.href);
    address.searchParams.set("from", this.from.toFixed(6));
    address.searchParams.set("to", this.to.toFixed(6));
    address.searchParams.set("width", String(this.#width()));
    try {
      const answer = await fetch(address, { signal: this.#asked.signal });
      if (!answer.ok) throw new Error(`The strip could not be drawn (${answer.status}). Reload the page.`);
      const svg = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
      if (svg.localName !== "svg") throw new Error("The strip could not be read. Reload the page.");
      this.#picture().svg.replaceWith(document.adoptNode(svg));
      this.#box.classList.remove("loading");
      this.#share();
      this.#place();
    } catch (error) {
      if (error.name !== "AbortError") this.#say(error.message);
    }
  }

  // The longest frame that begins in the pixel under the pointer.
  #read(clientX, readout) {
    clearTimeout(this.#reading);
    this.#reading = setTimeout(async () => {
      const address = new URL(this.#box.dataset.frame, location.href);
      address.searchParams.set("from", this.#timeAt(clientX - 0.5).toFixed(9));
      address.searchParams.set("to", Math.max(this.#timeAt(clientX + 0.5), 1e-9).toFixed(9));
      try {
        const answer = await fetch(address);
        if (answer.ok) readout.textContent = await answer.text();
        readout.hidden = !answer.ok;
      } catch {
        readout.hidden = true;
      }
    }, READ_MS);
  }

  #say(words) {
    let line = this.#box.querySelector(".error");
    if (!line) {
      line = document.createElement("p");
      line.className = "error";
      line.setAttribute("role", "alert");
      this.#box.append(line);
    }
    line.textContent = words;
  }

  #share() {
    const address = new URL(location.href);
    const whole = this.from <= 0 && this.to >= this.#end;
    for (const [name, value] of [["from", this.from], ["to", this.to]]) {
      if (whole) address.searchParams.delete(name);
      else address.searchParams.set(name, value.toFixed(3));
    }
    history.replaceState(history.state, "", address);
  }

  #wheel(event) {
    // Only with Shift or Ctrl, or when the strip has the focus: a page must scroll past it.
    if (!(event.shiftKey || event.ctrlKey || document.activeElement === this.#box)) return;
    event.preventDefault();
    const turn = event.deltaY || event.deltaX;
    this.#zoom(turn > 0 ? 1.25 : 0.8, this.#timeAt(event.clientX));
  }

  #key(event) {
    if (event.target !== this.#box || event.ctrlKey || event.altKey || event.metaKey) return;
    const step = (this.to - this.from) / 5;
    const act = {
      "+": () => this.#zoom(0.5),
      "=": () => this.#zoom(0.5),
      "-": () => this.#zoom(2),
      "0": () => this.#show(0, this.#end),
      ArrowLeft: () => this.#show(this.from - step, this.to - step),
      ArrowRight: () => this.#show(this.from + step, this.to + step),
      Enter: () => this.#mark && this.#show(...this.#mark),
      Escape: () => this.#setMark(null),
    }[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }

  #drag(down) {
    if (down.button !== 0) return;
    const start = this.#timeAt(down.clientX);
    const move = (event) => {
      const now = this.#timeAt(event.clientX);
      if (Math.abs(event.clientX - down.clientX) > 3) this.#setMark([Math.min(start, now), Math.max(start, now)]);
    };
    const done = () => {
      this.#box.removeEventListener("pointermove", move);
      this.#box.removeEventListener("pointerup", done);
      this.#box.removeEventListener("pointercancel", done);
    };
    this.#box.setPointerCapture(down.pointerId);
    this.#box.addEventListener("pointermove", move);
    this.#box.addEventListener("pointerup", done);
    this.#box.addEventListener("pointercancel", done);
  }

  #setMark(mark) {
    this.#mark = mark;
    if (mark) document.querySelectorAll("details[data-marks]").forEach((form) => { form.open = true; });
    for (const field of this.#fields()) {
      field.value = mark ? mark[field.dataset.mark === "from" ? 0 : 1].toFixed(3) : field.defaultValue;
    }
    this.#place();
  }

  #markFromFields() {
    const value = (name) => {
      const text = document.querySelector(`input[data-mark="${name}"]`)?.value ?? "";
      return text.trim() === "" ? Number.NaN : Number(text);
    };
    const [from, to] = [value("from"), value("to")];
    // As the page came, the fields say what holds and not what somebody marks.
    const touched = [...this.#fields()].some((field) => field.value !== field.defaultValue);
    this.#mark = touched && to > from ? [from, to] : null;
    this.#place();
  }

  // Puts the brush where the mark is, and stretches the old picture while the sharper one is on its way.
  #place() {
    const { left, right } = this.#picture();
    const at = (time) => left + ((time - this.from) / (this.to - this.from)) * (right - left);
    const [start, end] = this.#mark ? this.#mark.map((t) => Math.min(right, Math.max(left, at(t)))) : [0, 0];
    this.#brush.hidden = !(end > start);
    document.querySelectorAll("[data-marked]").forEach((says) => { says.hidden = !this.#mark; });
    this.#brush.style.left = `${start}px`;
    this.#brush.style.width = `${end - start}px`;
  }
}

for (const box of document.querySelectorAll(".strip[data-src]")) {
  if (box.querySelector("svg[data-from]")) new StripView(box);
}
