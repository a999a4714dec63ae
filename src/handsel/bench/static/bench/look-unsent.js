/* What this phone still holds: what waits, what was not taken and why, and what a person can do about it. */
(function () {
  "use strict";
  const handsel = window.handsel, parts = handsel.parts, h = parts.h, outbox = handsel.outbox;
  const place = document.getElementById("unsent");
  if (!place) return;

  function said(e) {
    const b = e.body || {};
    if (e.blob) return "A photo";
    if (b.kind === "as-shown") return "A group taken as shown (" + parts.placeWords(b.group) + ")";
    if (b.kind === "withdrawn") return "An answer taken back";
    if (b.kind === "noted") return "Note: " + b.text;
    if (b.kind === "put-down") return "Put down for someone else";
    const value = b.answer !== undefined ? b.answer : (b.readings || [b.value]).map(parts.shown).join(" · ") + " " + (b.unit || "");
    return parts.placeWords(b.of) + (b.place ? " (" + parts.placeWords(b.place) + ")" : "") + ": " + value + (b.note ? ", “" + b.note + "”" : "");
  }

  function line(e) {
    const told = e.told || {}, node = h("section", { class: "card" },
      h("div", { class: "card-head" }, h("span", { class: "code" }, e.hand.slice(0, 3) + "-" + e.hand.slice(3)), h("span", { class: "second" }, "by person " + e.by)),
      h("p", {}, h("b", {}, said(e))));
    if (e.state === "waiting") {
      if (e.by !== outbox.person() && outbox.person()) node.appendChild(others(e));
      return node;
    }
    node.appendChild(h("p", {}, (told.what || "It was not taken.") + " " + (told.do || "")));
    if (told.stored) node.appendChild(h("p", {}, "On record: " + told.stored.title + (told.stored.place ? " (" + parts.placeWords(told.stored.place) + ")" : "") + ": ", h("b", {}, told.stored.shown), " by " + told.stored.by));
    const bar = h("div", { class: "bar" });
    if (e.state === "conflict") {
      bar.appendChild(parts.button("Keep what is on record", { kind: "plain", press: function () { outbox.forget(e); } }));
      bar.appendChild(parts.button("Send mine as a new answer", { kind: "plain", press: function () {
        const body = Object.assign({}, e.body);
        outbox.forget(e).then(function () { outbox.add(e.hand, body, e.by); });
      } }));
    } else {
      if (!e.blob) bar.appendChild(parts.button("Turn it into a note", { kind: "plain", press: function () {
        outbox.forget(e).then(function () { outbox.add(e.hand, { kind: "noted", text: "Not taken as an answer: " + said(e) }, outbox.person() || e.by); });
      } }));
      bar.appendChild(parts.button("Try again", { kind: "plain", press: function () { e.state = "waiting"; outbox.change(e); } }));
      bar.appendChild(parts.button("Drop it", { kind: "final", press: function () { outbox.forget(e); } }));
    }
    node.appendChild(bar);
    return node;
  }

  function others(e) {
    return h("div", {}, h("p", { class: "second" }, "It is sent when that person signs in on this phone."),
      parts.button("That was me: send it as mine", { kind: "plain", press: function () { e.by = outbox.person(); outbox.change(e); } }));
  }

  function show() {
    const all = outbox.entries().concat(outbox.photos()), waiting = all.filter(function (e) { return e.state === "waiting"; });
    const refused = all.filter(function (e) { return e.state !== "waiting"; }), trouble = outbox.trouble();
    place.textContent = "";
    if (!all.length) {
      place.appendChild(parts.notice("done", "All is sent.", "This phone holds nothing back."));
      return;
    }
    if (outbox.kind() !== "database") place.appendChild(parts.notice("warning", "This phone keeps answers badly.", outbox.kind() === "memory" ? "They live only as long as this page is open." : "Photos live only as long as this page is open."));
    if (trouble) place.appendChild(parts.notice("warning", trouble.words, trouble.what, trouble.link && h("a", { class: "quiet", href: trouble.link }, "Sign in")));
    if (refused.length) {
      place.appendChild(h("h2", {}, "Not taken"));
      refused.forEach(function (e) { place.appendChild(line(e)); });
    }
    if (waiting.length) {
      place.appendChild(h("h2", {}, waiting.length + " not yet sent"));
      place.appendChild(parts.button("Send now", { id: "send-now", press: function () { outbox.flush(); } }));
      waiting.forEach(function (e) { place.appendChild(line(e)); });
    }
  }
  outbox.hear(show);
  outbox.ready.then(show);
})();
