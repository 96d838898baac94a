// Brings a page up to date when somebody else changes what it shows, without touching what is being written.
//
//   <div data-live="KEY OF A PASS" data-from="ADDRESS OF THE STREAM" data-worker="ADDRESS OF live-worker.js">
//
// On a change of that pass the page is asked for once more, and of it each element with `data-live-part` (it has an id)
// takes the place of the one here; one with `data-live-item="LIST"` that is not here yet joins the list with that id.
// Forms stand outside of both. Lines with `data-at` that came since the page was opened last are marked as new,
// but for one's own (`data-mine`).

const place = document.querySelector("[data-live]");
const key = place.dataset.live;
const seenAt = `weighhouse looked ${key}`;

function looked() {
  try {
    return Number(localStorage.getItem(seenAt)) || null;
  } catch {
    return null;
  }
}
const lines = () => [...document.querySelectorAll("[data-at]")];
// Who looks for the first time has seen what stands there.
const before = looked() ?? Math.max(0, ...lines().map((line) => Number(line.dataset.at)));

function markNew() {
  let newest = before;
  for (const line of lines()) {
    const at = Number(line.dataset.at);
    newest = Math.max(newest, at);
    if (at <= before || "mine" in line.dataset || line.querySelector(".fresh")) continue;
    line.prepend(Object.assign(document.createElement("b"), { className: "fresh", textContent: "new " }));
  }
  try {
    localStorage.setItem(seenAt, String(newest));
  } catch {
    // Without room nothing is marked next time.
  }
}

async function refresh() {
  const response = await fetch(location.href, { headers: { Accept: "text/html", "X-Quiet": "1" } });
  if (!response.ok) return;
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  for (const fresh of page.querySelectorAll("[data-live-item]")) {
    const list = document.getElementById(fresh.dataset.liveItem);
    if (list && !document.getElementById(fresh.id)) list.append(document.importNode(fresh, true));
  }
  for (const fresh of page.querySelectorAll("[data-live-part]")) {
    const here = document.getElementById(fresh.id);
    if (here && !here.contains(document.activeElement)) here.replaceChildren(...document.importNode(fresh, true).childNodes);
  }
  document.querySelectorAll(".strip").forEach((strip) => strip.dispatchEvent(new Event("refresh")));
  markNew();
}

// Several changes in a row are one refresh.
let timer = 0;
function changed({ passes }) {
  if (!passes.includes(key)) return;
  clearTimeout(timer);
  timer = setTimeout(refresh, 100);
}

if ("SharedWorker" in window) {
  const worker = new SharedWorker(place.dataset.worker, { name: place.dataset.from });
  worker.port.onmessage = ({ data }) => changed(data);
  addEventListener("pagehide", () => worker.port.postMessage("gone"));
} else {
  const source = new EventSource(place.dataset.from);
  source.onmessage = ({ data }) => changed(JSON.parse(data));
}
markNew();
