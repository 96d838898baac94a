// Many files at once onto a form: three at a time, progress for each, cancel and try again.
//
//   <form data-put="ADDRESS" ...> <input type="file" multiple> <ul class="queue" aria-live="polite"></ul> </form>
//
// ADDRESS ends in a slash: a file's bytes go to ADDRESS + its name by PUT with an Idempotency-Key that stays the same
// when it is tried again, so that an upload whose answer was lost is not taken twice. The answer is JSON with `says`.
// Fields of the form that are marked `data-with` go along in the query. Without script the form posts as it is.

const AT_ONCE = 3;

// Random enough to be unique in a store; crypto.randomUUID is missing on plain-http addresses.
function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

class Upload {
  constructor(file, form, queue, done) {
    this.file = file;
    this.form = form;
    this.done = done;
    this.key = newKey();
    this.row = document.createElement("li");
    this.name = Object.assign(document.createElement("span"), { textContent: file.name });
    this.bar = Object.assign(document.createElement("progress"), { max: 1, value: 0 });
    this.bar.setAttribute("aria-label", `Progress of ${file.name}`);
    this.button = Object.assign(document.createElement("button"), { type: "button", className: "plain" });
    this.says = Object.assign(document.createElement("span"), { className: "says" });
    this.button.addEventListener("click", () => this.#press());
    this.row.append(this.name, this.bar, this.button, this.says);
    queue.append(this.row);
    this.#state("waiting", "Waits for its turn.");
  }

  // waiting and going can be cancelled, failed can be tried again, taken is taken.
  #state(state, words) {
    this.state = state;
    this.says.textContent = words;
    this.says.classList.toggle("wrong", state === "failed");
    this.button.textContent = state === "failed" ? "Try again" : "Cancel";
    this.button.setAttribute("aria-label", `${this.button.textContent}: ${this.file.name}`);
    this.button.hidden = state === "taken";
  }

  #press() {
    if (this.state === "failed") {
      this.bar.value = 0;
      this.#state("waiting", "Waits for its turn.");
    } else if (this.state === "going") {
      this.request.abort();
    } else {
      this.#state("failed", "Cancelled.");
    }
    this.done();
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
    this.request.addEventListener("error", () => this.#over("failed", "The connection broke. Nothing is lost: try again."));
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
    const words = [answer.says, answer.mend].filter(Boolean).join(" ");
    if (status >= 200 && status < 300) {
      this.bar.value = 1;
      this.#over("taken", words || "Taken.");
      this.#unfold(answer.segments ?? []);
    } else {
      this.#over("failed", words || `The service refused it (${status}).`);
    }
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

  #over(state, words) {
    this.#state(state, words);
    this.done();
  }
}

function watch(form) {
  const input = form.querySelector("input[type=file]");
  const queue = form.querySelector(".queue");
  const uploads = [];

  const next = () => {
    const going = uploads.filter((each) => each.state === "going").length;
    const waiting = uploads.filter((each) => each.state === "waiting");
    waiting.slice(0, Math.max(0, AT_ONCE - going)).forEach((each) => each.start());
    const open = uploads.some((each) => ["going", "waiting"].includes(each.state));
    const done = !open && uploads.some((each) => each.state === "taken");
    // Pages put what to do next into an element that waits for this.
    form.querySelectorAll("[data-when-done]").forEach((each) => { each.hidden = !done; });
  };
  const add = (files) => {
    for (const file of files) uploads.push(new Upload(file, form, queue, next));
    next();
  };

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    add(input.files);
    input.value = "";
  });
  input.addEventListener("change", () => {
    add(input.files);
    input.value = "";
  });
  const over = (on) => (event) => {
    if (!event.dataTransfer?.types.includes("Files")) return;
    event.preventDefault();
    form.classList.toggle("over", on);
  };
  form.addEventListener("dragenter", over(true));
  form.addEventListener("dragover", over(true));
  form.addEventListener("dragleave", over(false));
  form.addEventListener("drop", (event) => {
    over(false)(event);
    if (event.dataTransfer) add(event.dataTransfer.files);
  });
  addEventListener("beforeunload", (event) => {
    if (uploads.some((each) => each.state === "going")) event.preventDefault();
  });
}

document.querySelectorAll("form[data-put]").forEach(watch);
