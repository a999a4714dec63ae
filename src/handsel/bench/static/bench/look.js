/* The inspector's page: which screen is shown, what a tap leads to, and how it all ends in an answer. */
(function () {
  "use strict";
  const handsel = window.handsel, parts = handsel.parts, screens = handsel.screens, outbox = handsel.outbox;
  const h = parts.h, late = new Map();
  const root = document.getElementById("look"), holder = document.getElementById("look-data");
  if (!root || !holder) return;
  const SETTLE_MS = 320;  // a second tap of the same finger does not answer the next screen
  const data = JSON.parse(holder.textContent), state = new handsel.State(data), drawings = { checks: {}, held: {} };
  const META = document.querySelector("meta[name=viewport]");
  if (META) META.content += ", interactive-widget=resizes-content";  // the bar stays above the keyboard

  // ---- the run of screens -----------------------------------------------------------------------

  const steps = [];
  data.groups.forEach(function (group) {
    const alone = group.checks.filter(function (c) { return c.alone && c.due.length; });
    if (!state.cards(group).length && !alone.length) return;
    steps.push({ kind: "hold", group: group });
    if (state.cards(group).length) steps.push({ kind: "cards", group: group });
    alone.forEach(function (check) { steps.push({ kind: "check", check: check, group: group }); });
  });
  steps.push({ kind: "end" });
  let at = { kind: "hold", step: 0 }, held = null, asking = false;

  function stepDone(step) {
    if (step.kind === "check") return !step.check.left.size;
    if (step.kind === "cards") return !state.cards(step.group).some(function (c) { return c.left.size; });
    if (step.kind === "hold") return step.group === held || !step.group.checks.some(function (c) { return c.left.size; });
    return false;
  }
  function firstOpen(from) {
    for (let k = from; k < steps.length - 1; k += 1) if (!stepDone(steps[k])) return k;
    return steps.length - 1;
  }

  // ---- showing ----------------------------------------------------------------------------------

  const page = {
    state: state,
    shownAt: 0,
    askState: parts.h("div", { id: "ask-state", "aria-live": "polite" }),
    figure: function (kind, id, low, named) { return awaiting(parts.figure(drawings[kind][id], low, named), kind, id); },
    small: function (id) { return awaiting(parts.small(drawings.checks[id]), "checks", id); },
    group: function () { const s = steps[at.step]; return s && s.group; },
    next: function () {
      const step = steps[at.step];
      if (step.kind === "hold") held = step.group;
      go({ step: firstOpen(step.kind === "hold" ? at.step + 1 : 0) });
    },
    goOn: function () { go({ step: firstOpen(0) }); },
    again: function () { go({ step: at.step, kind: at.back || undefined, check: at.back ? at.check : undefined }); },
    open: function (check) { go({ step: at.step, kind: "check", check: check, from: at.kind === "overview" ? "overview" : "" }); },
    details: function (check, answer, places, shownAt) {
      go({ step: at.step, kind: "details", check: check, answer: answer, places: places, shownAt: shownAt, back: steps[at.step].check === check ? "" : "check" });
    },
    lines: function (check) { go({ step: at.step, kind: "lines", check: check }); },
    back: function (check) { go({ step: at.step, kind: "check", check: check }); },
    cameIn: function (check, told) { late.set(check.of, { check: check, told: told }); word(); },
    answered: function (check, places, fields, shownAt) {
      if (!Array.isArray(fields) && check.kind === "answer" && !check.substitute) fields = Object.assign(handsel.measure.evidence(check), fields);
      late.delete(check.of);
      if (check.substitute && !Array.isArray(fields)) delete fields.method;
      state.answer(check, places, fields, shownAt, { step: at.step, group: held });
      const step = steps[at.step];
      const sameGroup = step.kind === "cards" && step.group === check.group;
      go({ step: sameGroup ? at.step : firstOpen(0) });
    },
    groupDone: function (group, shownAt) {
      if (!state.cards(group).some(function (c) { return c.left.size; })) { page.goOn(); return; }
      if (group.photo) go({ step: at.step, kind: "photo", group: group, shownAt: shownAt });
      else page.shown(group, shownAt, "");
    },
    shown: function (group, shownAt, photo) {
      const mat = handsel.measure.helped(group);
      state.asShown(group, shownAt, photo || (mat ? handsel.measure.evidence(mat).photo : "") || "", { step: at.step, group: group });
      go({ step: firstOpen(0) });
    },
    undo: function () {
      const where = state.undo();
      if (where) { held = where.group; go({ step: where.step }); }
    },
    overview: function () { go({ step: at.step, kind: "overview" }); },
    toEnd: function () { go({ step: steps.length - 1 }); },
    putDown: function () { state.putDown(); leave("/"); },
    ask: function () { asking = true; ask(); },
    lastMethod: function (check) { try { return localStorage.getItem("handsel-method-" + check.of) || ""; } catch (refused) { return ""; } },
    keepMethod: function (check, name) { try { localStorage.setItem("handsel-method-" + check.of, name); } catch (refused) { /* asked again next time */ } },
  };

  handsel.measure.use(page);

  // A drawing that has not arrived yet takes its place when it does.
  function awaiting(node, kind, id) {
    if (!drawings[kind][id]) node.setAttribute("data-awaits", kind + " " + id);
    return node;
  }

  function go(where) {
    asking = false;
    const step = steps[where.step];
    at = Object.assign({ kind: step.kind, check: step.check, group: step.group }, dropEmpty(where));
    if (at.step !== (history.state || {}).step || at.kind !== (history.state || {}).kind) history.pushState({ step: at.step, kind: step.kind }, "");
    show(true);
  }
  function dropEmpty(given) {
    return Object.keys(given).reduce(function (kept, k) { if (given[k] !== undefined && given[k] !== "") kept[k] = given[k]; return kept; }, {});
  }

  function built() {
    if (at.kind === "hold") return screens.hold(page, at.group);
    if (at.kind === "cards") return screens.cards(page, at.group);
    if (at.kind === "check") return screens.check(page, at.check);
    if (at.kind === "details") return screens.details(page, at.check, at.answer, at.places || [], at.shownAt);
    if (at.kind === "lines") return handsel.lines.screen(page, at.check);
    if (at.kind === "photo") return screens.photo(page, at.group, at.shownAt);
    if (at.kind === "overview") return screens.overview(page);
    return screens.end(page);
  }

  function show(isNew) {
    if (isNew) page.shownAt = performance.now();
    page.askState.textContent = "";
    const nodes = built();
    root.textContent = "";
    nodes.concat([]).forEach(function add(node) {
      if (Array.isArray(node)) node.forEach(add);
      else if (node) root.appendChild(node);
    });
    root.setAttribute("data-screen", at.kind);
    word();
    if (!isNew) return;
    window.scrollTo(0, 0);
    settle();
    const target = nodes.focus || document.getElementById("question");
    if (target) target.focus({ preventScroll: true });
  }

  // Taps of the finger that brought this screen are not meant for it.
  let settling = 0;
  function settle() {
    root.classList.add("is-settling");
    clearTimeout(settling);
    settling = setTimeout(function () { root.classList.remove("is-settling"); }, SETTLE_MS);
  }

  // ---- words above the screen: no sign-in, no network, two who differ -----------------------------

  const above = document.getElementById("look-above");
  function word() {
    above.textContent = "";
    const trouble = outbox.trouble(), unsent = outbox.unsentOf(data.hand.code);
    if (trouble && trouble.link) {
      const link = parts.h("a", { class: "quiet", href: trouble.link, onclick: function () { outbox.leave(); } }, "Sign in");
      above.appendChild(parts.notice("warning", trouble.words, "Everything you answered is kept on this phone.", link));
    } else if (trouble && unsent) {
      above.appendChild(parts.notice("calm", trouble.words, "Go on: " + trouble.what.charAt(0).toLowerCase() + trouble.what.slice(1)));
    }
    if (outbox.kind() === "memory") {
      above.appendChild(parts.notice("warning", "This phone cannot keep answers.", "Leave this page open until the count above is gone; a private window is often the reason."));
    }
    state.differs.forEach(function (d) {
      above.appendChild(parts.notice("warning", d.by + " says otherwise", "“" + d.title + (d.place ? " (" + parts.placeWords(d.place) + ")" : "") + "”: " + d.shown + ". Both are kept, and the lead sees it. Look at it together.",
        parts.quiet("Seen", function () { state.differs = state.differs.filter(function (x) { return x !== d; }); word(); })));
    });
    const refused = outbox.entries().filter(function (e) { return e.hand === data.hand.code && e.state !== "waiting"; });
    if (refused.length) {
      above.appendChild(parts.notice("warning", refused.length === 1 ? "One answer was not taken" : refused.length + " answers were not taken", (refused[0].told || {}).what,
        parts.h("a", { class: "quiet", href: "/unsent/", onclick: function () { outbox.leave(); } }, "See to it")));
    }
    late.forEach(function (one) { above.appendChild(cameLate(one)); });
    if (movedOn) above.appendChild(parts.notice("warning", "This hand was decided meanwhile.", "Open it again to see what is asked now.", parts.h("a", { class: "quiet", href: location.pathname }, "Open it again")));
  }
  let movedOn = false;

  // A photo was read after the person had gone on.
  function cameLate(one) {
    const told = one.told, good = told.state === "measured";
    const words = good ? (told.shown ? told.shown + " " + told.spread + " (k = 2)" : (told.seen || {}).head || "") : told.reason + ". " + told.do;
    return parts.notice("calm", good ? "The photo was read." : "The photo could not be read.", "“" + one.check.title + "”: " + words,
      h("div", { class: "bar" }, parts.quiet("See it", function () { late.delete(one.check.of); page.open(one.check); }), parts.quiet("Leave it", function () { late.delete(one.check.of); word(); })));
  }

  outbox.hear(function (event) {
    if (event.type === "sent" && event.hand === data.hand.code) {
      state.heard(event);
      const decided = ["to put right", "for the lead", "ready to fit", "to release", "released", "handed over", "scrapped"];
      movedOn = event.reply.hold_point !== data.at.id || (event.reply.standing !== data.hand.standing && decided.indexOf(event.reply.standing) >= 0);
    }
    word();
    if (asking) ask();
  });

  // ---- asking -----------------------------------------------------------------------------------

  function ask() {
    const left = outbox.unsentOf(data.hand.code), waiting = page.askState;
    waiting.textContent = "";
    if (left) {
      waiting.appendChild(parts.notice("calm", left === 1 ? "One answer is still on its way." : left + " answers are still on their way.", "The answer is asked for as soon as they are sent. Keep this page open."));
      if (!outbox.trouble()) outbox.flush();
      return;
    }
    asking = false;
    const form = document.getElementById("ask-form");
    form.elements.csrfmiddlewaretoken.value = outbox.cookie("handsel-form");
    outbox.leave();
    form.submit();
  }

  function leave(url) {
    outbox.flush().then(function () { outbox.leave(); location.assign(url); });
  }

  // ---- beginning --------------------------------------------------------------------------------

  window.addEventListener("popstate", function (event) {
    if (!event.state) return;
    const step = steps[event.state.step];
    if (!step) return;
    at = { step: event.state.step, kind: step.kind, check: step.check, group: step.group };
    show(true);
  });

  // A caliper or scale types wherever the focus is: bring its figures to the field.
  document.addEventListener("keydown", function (event) {
    const field = document.getElementById("number"), other = document.activeElement;
    if (!field || other === field || event.ctrlKey || event.metaKey || event.altKey) return;
    if (/^[0-9.,\-]$/.test(event.key) && (!other || ["INPUT", "TEXTAREA", "SELECT"].indexOf(other.tagName) < 0)) field.focus();
  });

  data.figures.forEach(function (url) {
    fetch(url, { credentials: "same-origin" }).then(function (reply) {
      if (!reply.ok) throw new Error("none");
      return reply.json();
    }).then(function (told) {
      Object.assign(drawings.checks, told.checks);
      Object.assign(drawings.held, told.held);
      Array.prototype.forEach.call(document.querySelectorAll("[data-awaits]"), function (node) {
        const at = node.getAttribute("data-awaits").split(" "), svg = drawings[at[0]][at[1]];
        if (!svg) return;
        node.innerHTML = svg;
        node.classList.remove("figure-missing");
        node.removeAttribute("data-awaits");
      });
    }).catch(function () { /* the words are enough; the place for the drawing says so */ });
  });
  outbox.ready.then(function () {
    state.fromOutbox(outbox.entries());
    const first = firstOpen(0);
    at = Object.assign({ step: first }, steps[first]);
    history.replaceState({ step: first, kind: at.kind }, "");
    show(true);
  });
})();
