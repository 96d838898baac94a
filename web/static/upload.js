// Many files at once onto a form: three at a time, progress for each, cancel and try again.
//
//   <form data-put="ADDRESS" data-here="ADDRESS" ...>
//     <input type="file" multiple> <input type="file" webkitdirectory hidden>
//     <p class="tally"></p> <ul class="queue"></ul> <p class="unseen" role="status"></p>
//   </form>
//
// `data-put` ends in a slash: a file's bytes go to it + the file's name by PUT with an Idempotency-Key that stays the
// same when it is tried again, so that an upload whose answer was lost is not taken twice. The answer is JSON with
// `says`. `data-here` is asked first, by length and SHA-256, which files are there already: those are not sent. Fields
// of the form that are marked `data-with` go along in the query. Names of files that are not in yet are remembered, so
// that the page can name them after a reload; dropping the folder again sends only those. Without script the form posts
// as it is.

const AT_ONCE = 3;
// Files whose lengths and digests are asked about in one request.
const ASKED_AT_ONCE = 50;
// Longer files are read once alone, when they are sent: the service knows them by their bytes.
const HASHED_BYTES = 64 * 1024 * 1024;
// After a lost connection: seconds until the next try, doubled each time.
const [FIRST_PAUSE_S, LONGEST_PAUSE_S] = [1, 30];

const hex = (bytes) => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const files = (n) => `${n} ${n === 1 ? "file" : "files"}`;

// Random enough to be unique in a store; crypto.randomUUID is missing on plain-http addresses.
const newKey = () => hex(crypto.getRandomValues(new Uint8Array(16)));

// SHA-256 of a file; empty where the browser has none (plain-http addresses) or the file cannot be read.
async function digest(file) {
  if (!crypto.subtle || file.size > HASHED_BYTES) return "";
  try {
    return hex(new Uint8Array(await crypto.subtle.digest("SHA-256", await file.arrayBuffer())));
  } catch {
    return "";
  }
}

class Upload {
  // States: looking (is it there already?), waiting and going can be cancelled; failed can be tried again; taken and
  // asks are over.
  constructor(file, form, queue, done, lost) {
    Object.assign(this, { file, form, queue, done, lost, key: newKey() });
    this.row = document.createElement("li");
    this.name = Object.assign(document.createElement("span"), { textContent: file.name });
    this.bar = Object.assign(document.createElement("progress"), { max: 1, value: 0 });
    this.bar.setAttribute("aria-label", `Progress of ${file.name}`);
    this.button = Object.assign(document.createElement("button"), { type: "button", className: "plain" });
    this.says = Object.assign(document.createElement("span"), { className: "says" });
    this.button.addEventListener("click", () => this.#press());
    this.row.append(this.name, this.bar, this.button, this.says);
    queue.append(this.row);
    // It scrolls, and so can be reached by keys.
    queue.tabIndex = 0;
    this.#state("looking", "Is it here already?");
  }

  get over() {
    return ["failed", "taken", "asks"].includes(this.state);
  }

  #state(state, words) {
    this.state = state;
    this.says.textContent = words;
    this.says.classList.toggle("wrong", state === "failed");
    this.button.textContent = state === "failed" ? "Try again" : "Cancel";
    this.button.setAttribute("aria-label", `${this.button.textContent}: ${this.file.name}`);
    this.button.hidden = state === "taken" || state === "asks";
  }

  #press() {
    if (this.state === "going") this.request.abort();
    else if (this.state === "failed") this.again();
    else this.#over("failed", "Cancelled.");
    this.done();
  }

  again() {
    this.bar.value = 0;
    this.#state("waiting", "Waits for its turn.");
  }

  // What the service says of a file that was asked about.
  looked({ state, says, outcome, layout } = {}) {
    if (this.state !== "looking") return;
    if (state === "here") this.#in({ says, outcome, layout });
    else this.again();
  }

  start() {
    const address = new URL(this.form.dataset.put + encodeURIComponent(this.file.name), location.href);
    for (const field of this.form.querySelectorAll("[data-with]")) {
      if (field.value) address.searchParams.set(field.name, field.value);
    }
    this.request = new XMLHttpRequest();
    this.request.open("PUT", address);
    this.request.setRequestHeader("Idempotency-Key", this.key);
    this.request.setRequestHeader("Content-Type", "application/octet-stream");
    this.request.setRequestHeader("Accept", "application/json");
    this.request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) this.bar.value = event.loaded / event.total;
      if (event.loaded === event.total) this.says.textContent = "Sent; the service is reading it.";
    });
    this.request.addEventListener("load", () => this.#answered());
    this.request.addEventListener("error", () => this.#lost());
    this.request.addEventListener("abort", () => this.#over("failed", "Cancelled."));
    this.#state("going", "On its way.");
    this.request.send(this.file);
  }

  #answered() {
    const { status, responseText } = this.request;
    let answer = {};
    try {
      answer = JSON.parse(responseText);
    } catch {
      // No JSON: the status alone must do.
    }
    if (status >= 200 && status < 300) {
      this.#in(answer);
    } else {
      const words = [answer.says, answer.mend].filter(Boolean).join(" ");
      this.#over("failed", words || `The service refused it (${status}).`);
    }
  }

  #lost() {
    this.bar.value = 0;
    this.#state("waiting", "The connection broke; it is sent again.");
    this.lost();
  }

  #in(answer) {
    this.bar.value = 1;
    const words = [answer.says, answer.mend].filter(Boolean).join(" ");
    this.#over(answer.outcome === "ask" ? "asks" : "taken", words || "Taken.");
    if (answer.layout) {
      const link = Object.assign(document.createElement("a"), { href: answer.layout, target: "_blank", rel: "noopener" });
      link.textContent = "Say what its columns are";
      this.says.append(" ", link);
    }
    this.#unfold(answer.segments ?? []);
  }

  // The sentence names the roles; each column that was used stands folded below it.
  #unfold(segments) {
    const read = segments.flatMap((segment) => segment.read);
    if (!read.length) return;
    const fold = Object.assign(document.createElement("details"), { className: "says" });
    const list = Object.assign(document.createElement("ul"), { className: "plain" });
    list.append(...read.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
    fold.append(Object.assign(document.createElement("summary"), { textContent: "How it was read" }), list);
    this.row.append(fold);
  }

  // What somebody has to look at stands first.
  #over(state, words) {
    this.#state(state, words);
    if (state !== "taken") this.queue.prepend(this.row);
    this.done();
  }
}

// Files that a drop left behind, by name and length, kept for the next time the page is opened.
class Left {
  constructor(form) {
    this.place = `weighhouse left ${form.getAttribute("action")}`;
    try {
      this.files = JSON.parse(localStorage.getItem(this.place)) ?? [];
    } catch {
      this.files = [];
    }
    if (!this.files.length) return;
    const shown = this.files.slice(0, 20).map(([name]) => name).join(", ");
    const more = this.files.length > 20 ? ` and ${this.files.length - 20} more` : "";
    this.note = Object.assign(document.createElement("div"), { className: "left" });
    const says = Object.assign(document.createElement("p"), {
      textContent: `${files(this.files.length)} of the last drop did not come in: ${shown}${more}. Drop the same folder again: only what is missing is sent.`,
    });
    const forget = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: "Forget them" });
    forget.addEventListener("click", () => this.keep([]));
    this.note.append(says, forget);
    form.querySelector(".tally").before(this.note);
  }

  // Takes out the files that are dropped again.
  found(uploads) {
    const again = new Set(uploads.map(({ file }) => `${file.name} ${file.size}`));
    this.files = this.files.filter(([name, size]) => !again.has(`${name} ${size}`));
  }

  keep(files) {
    this.files = files;
    this.note?.remove();
    this.store([]);
  }

  store(uploads) {
    const all = [...this.files, ...uploads.map(({ file }) => [file.name, file.size])];
    try {
      if (all.length) localStorage.setItem(this.place, JSON.stringify(all));
      else localStorage.removeItem(this.place);
    } catch {
      // Without room the page cannot name them; the service still knows what is there.
    }
  }
}

// All files below an entry of a drop; what is hidden was put there by a program that makes no logs.
async function filesOf(entry) {
  if (entry.name.startsWith(".")) return [];
  if (entry.isFile) return [await new Promise((resolve, reject) => entry.file(resolve, reject))];
  const reader = entry.createReader();
  const inside = [];
  for (;;) {
    const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
    if (!some.length) break;
    inside.push(...some);
  }
  return (await Promise.all(inside.map(filesOf))).flat();
}

// Files of a drop: at once where it holds no folder, else a promise of them.
function dropped(transfer) {
  // Entries are there only while the event is handled: all are asked for before the first wait.
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.());
  if (!entries.some((entry) => entry?.isDirectory)) return [...transfer.files];
  return Promise.all(entries.filter(Boolean).map(filesOf)).then((lists) => lists.flat());
}

function watch(form) {
  const inputs = [...form.querySelectorAll("input[type=file]")];
  const queue = form.querySelector(".queue");
  const tally = form.querySelector(".tally");
  const status = form.querySelector("[role=status]");
  const left = new Left(form);
  const uploads = [];
  let pause = null;
  let pauseS = FIRST_PAUSE_S;

  const count = (...states) => uploads.filter((each) => states.includes(each.state)).length;

  function say() {
    const open = uploads.filter((each) => !each.over);
    left.store(open);
    const parts = [`${count("taken", "asks")} of ${files(uploads.length)} in`];
    if (count("asks")) parts.push(`${count("asks")} to be asked about`);
    if (count("failed")) parts.push(`${count("failed")} not taken`);
    if (open.length) parts.push(`${open.length} to come`);
    tally.textContent = uploads.length ? `${parts.join(", ")}.` : "";
    if (pause) tally.textContent += ` The connection is lost: what came in stays, the rest is tried again in ${pauseS} s.`;
    if (pause || !open.length) status.textContent = tally.textContent;
    const done = !open.length && count("taken", "asks") > 0;
    // Pages put what to do next into an element that waits for this.
    form.querySelectorAll("[data-when-done]").forEach((each) => { each.hidden = !done; });
    if (done) form.dispatchEvent(new Event("done"));
  }

  function next() {
    if (!pause) {
      const free = Math.max(0, AT_ONCE - count("going"));
      uploads.filter((each) => each.state === "waiting").slice(0, free).forEach((each) => each.start());
    }
    say();
  }
  function done() {
    pauseS = FIRST_PAUSE_S;
    next();
  }
  function resume() {
    clearTimeout(pause);
    pause = null;
    next();
  }
  function lost() {
    if (pause) return;
    pause = setTimeout(() => {
      pauseS = Math.min(2 * pauseS, LONGEST_PAUSE_S);
      resume();
    }, pauseS * 1000);
    say();
  }

  // Asks which of them are there, and lets the others wait for their turn.
  async function look(some) {
    const digests = await Promise.all(some.map(({ file }) => digest(file)));
    let answers = [];
    try {
      const response = await fetch(form.dataset.here, {
        method: "POST",
        headers: { "Content-Type": "application/json", Accept: "application/json" },
        body: JSON.stringify({ bytes: some.map(({ file }) => file.size), digest: digests }),
      });
      if (response.ok) answers = (await response.json()).files;
    } catch {
      // Sending them tells too.
    }
    some.forEach((each, at) => each.looked(answers[at]));
    next();
  }
  async function add(list) {
    const same = (file) => uploads.find((each) => each.file.name === file.name && each.file.size === file.size);
    const fresh = [];
    for (const file of list) {
      const there = same(file);
      if (!there) fresh.push(new Upload(file, form, queue, done, lost));
      else if (there.state === "failed") there.again();
    }
    uploads.push(...fresh);
    left.found(fresh);
    if (fresh.length && left.note && !left.files.length) left.note.remove();
    next();
    for (let at = 0; at < fresh.length; at += ASKED_AT_ONCE) await look(fresh.slice(at, at + ASKED_AT_ONCE));
  }

  const take = (input) => {
    add([...input.files]);
    input.value = "";
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    inputs.forEach(take);
  });
  for (const input of inputs) input.addEventListener("change", () => take(input));
  form.querySelectorAll("[data-script]").forEach((each) => { each.hidden = false; });
  const over = (on) => (event) => {
    if (!event.dataTransfer?.types.includes("Files")) return;
    event.preventDefault();
    form.classList.toggle("over", on);
  };
  form.addEventListener("dragenter", over(true));
  form.addEventListener("dragover", over(true));
  form.addEventListener("dragleave", over(false));
  form.addEventListener("drop", async (event) => {
    over(false)(event);
    if (!event.dataTransfer) return;
    const list = dropped(event.dataTransfer);
    add(Array.isArray(list) ? list : await list);
  });
  addEventListener("online", resume);
  addEventListener("beforeunload", (event) => {
    if (uploads.some((each) => each.state === "going")) event.preventDefault();
  });
}

document.querySelectorAll("form[data-put]").forEach(watch);
