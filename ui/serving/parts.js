// The page's parts are loaded when one is first needed. One that did not come, because the connection was lost just
// then, stays missing until the page is loaded anew: that happens here, once the studio can be reached and nothing is
// half typed, drawn up or only in this page. A phone loads the parts ahead, while it has a connection.

(() => {
  const LOOK_EVERY_MS = 2000, AHEAD_AFTER_MS = 1500, AHEAD_AGAIN_MS = 15000;
  const AGAIN_AT_MOST_EVERY_MS = 60000; // what is missing once more by then is left to the hand
  const LOADED_AGAIN = "pm-loaded-again";
  const TYPED_IN = "textarea, input:not([type=checkbox], [type=radio], [type=button], [type=file], [type=range])";
  const { reach, ahead } = document.currentScript.dataset;
  let looking, line, by_hand;

  addEventListener("vite:preloadError", missed);
  addEventListener("error", ({ target }) => target instanceof HTMLScriptElement && missed(), true);
  if (matchMedia("(pointer: coarse)").matches) addEventListener("load", () => setTimeout(load_ahead, AHEAD_AFTER_MS));

  function missed() {
    if (looking) return;
    by_hand = Date.now() - Number(sessionStorage.getItem(LOADED_AGAIN) ?? 0) < AGAIN_AT_MOST_EVERY_MS;
    looking = setInterval(mend, LOOK_EVERY_MS);
  }

  async function mend() {
    const answer = await fetch(reach, { cache: "no-store" }).catch(() => undefined);
    if (!answer || answer.status >= 500) return;
    if (is_held()) say();
    else load_again();
  }

  // What a page loaded anew would lose, or could not hold: the next look asks again.
  function is_held() {
    const app = document.querySelector('[data-testid="stApp"]');
    const { testScriptState: runs, testConnectionState: connection } = app?.dataset ?? {};
    return (
      by_hand || (app && (runs !== "notRunning" || connection !== "CONNECTED")) ||
      document.activeElement?.matches(TYPED_IN) || document.documentElement.hasAttribute("data-pm-only-here")
    );
  }

  function load_again() {
    sessionStorage.setItem(LOADED_AGAIN, String(Date.now()));
    location.reload();
  }

  // Its looks stand here: the page's own style sheet may be what is missing.
  function say() {
    if (line) return;
    line = document.createElement("p");
    line.setAttribute("role", "status");
    line.style.cssText =
      "position: fixed; z-index: 1000001; left: 0; right: 0; bottom: 0; margin: 0; padding: 0.6rem 1rem; " +
      "background: #1c1c1c; color: #fff; font: 600 1rem/1.35 sans-serif; text-align: center";
    const button = document.createElement("button");
    button.textContent = "Load the page again";
    button.style.cssText = "min-height: 2.75rem; margin-left: 0.6rem; padding: 0 0.9rem; font: inherit";
    button.addEventListener("click", load_again);
    line.append("Parts of the page did not come while the connection was lost.", button);
    document.body.append(line);
  }

  // Kept by the browser with the page itself: a certificate that it does not know keeps it from storing files.
  function load_ahead() {
    let lost = false;
    const links = JSON.parse(ahead).map((href) =>
      Object.assign(document.createElement("link"), { rel: "modulepreload", crossOrigin: "", fetchPriority: "low", href }));
    for (const link of links)
      link.addEventListener("error", () => {
        link.remove();
        if (!lost) setTimeout(load_ahead, AHEAD_AGAIN_MS);
        lost = true;
      });
    const there = new Set([...document.querySelectorAll("link[rel=modulepreload]")].map((link) => link.href));
    document.head.append(...links.filter(({ href }) => !there.has(href)));
  }
})();
