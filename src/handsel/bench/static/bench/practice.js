/* Beside the inspector's screens of a practice hand: what one would see and read there. */
(function () {
  "use strict";
  const root = document.getElementById("look"), card = document.getElementById("practice-card");
  const holder = document.getElementById("look-data"), told = document.getElementById("practice-told");
  if (!root || !card || !holder || !told) return;
  const shown = JSON.parse(told.textContent), checks = [];
  JSON.parse(holder.textContent).groups.forEach(function (g) { g.checks.forEach(function (c) { checks.push(c); }); });

  // The answer of a practice hand leads to what was wrong with it.
  const form = document.getElementById("ask-form");
  if (form) form.action = location.pathname.replace(/look\/$/, "ask/");

  function line(words, strong) {
    const p = document.createElement("p");
    if (strong) p.className = "reading";
    p.textContent = words;
    card.appendChild(p);
  }

  function say() {
    const screen = root.getAttribute("data-screen");
    card.textContent = "";
    card.hidden = screen !== "cards" && screen !== "check" && screen !== "details";
    if (card.hidden) return;
    const words = root.textContent, here = checks.filter(function (c) { return words.indexOf(c.title) >= 0; });
    const head = document.createElement("b");
    head.textContent = "What you would see";
    card.appendChild(head);
    let some = false;
    here.forEach(function (c) {
      if (c.kind === "number" && shown.numbers[c.of] !== undefined) {
        head.textContent = "What you would read";
        line(shown.numbers[c.of], true);
        some = true;
      }
      (shown.seen[c.of] || []).forEach(function (w) { line(w); some = true; });
    });
    if (!some) line(here.length > 1 ? "All of these look like the good drawings." : "It looks like the good drawing.");
    else if (screen === "cards" && here.length > 1) line("The others look like the good drawings.");
  }

  // After every new screen, and after a change on it.
  let waiting = false;
  function soon() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(function () { waiting = false; say(); });
  }
  new MutationObserver(soon).observe(root, { childList: true, attributes: true, attributeFilter: ["data-screen"] });
  soon();
})();
