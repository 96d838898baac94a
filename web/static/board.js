// A rig's board: opened anew as soon as there is news, so that ticks stay until then. Without script the page
// refreshes by itself.

const shown = document.querySelector("[data-state]");

async function look() {
  try {
    const answer = await fetch(location.href, { cache: "no-store" });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const state = page.querySelector("[data-state]");
    if (!answer.ok || (state && state.dataset.state !== shown.dataset.state)) location.reload();
  } catch {
    // The network is away: the next look tries again.
  }
}

setInterval(look, 4000);
