// Gives `watch.shown`: ms from a click until the frame was drawn in which the page said what `watch.wanted` says.
// It is a heading, and how many runs are listed at least: a step may have the heading of the one before.
(() => {
  const watch = (window.watch = { wanted: null, shown: 0 });
  const texts = (what) => [...document.querySelectorAll(`[data-testid=stMain] ${what}`)].map((e) => e.textContent);
  let clicked = 0;

  const there = ([heading, runs]) =>
    texts("h2").includes(heading) && texts("p").filter((text) => /^Run \d+, /.test(text)).length >= runs;

  addEventListener("click", () => { clicked = performance.now(); watch.shown = 0; }, true);
  new MutationObserver(() => {
    if (!clicked || !watch.wanted || !there(watch.wanted)) return;
    const began = clicked;
    clicked = 0;
    requestAnimationFrame(() => setTimeout(() => { watch.shown = performance.now() - began; }));
  }).observe(document, { subtree: true, childList: true, characterData: true });
})();
