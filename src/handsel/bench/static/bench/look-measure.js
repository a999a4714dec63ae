/* Photos that are read: taken, kept on the phone, sent, and what the bench saw on them shown for a person to take or
   to overrule. The photo never answers; the person does. */
(function () {
  "use strict";
  const handsel = window.handsel = window.handsel || {}, parts = handsel.parts, h = parts.h, outbox = handsel.outbox;
  const QUICK_MS = 250, SLOW_MS = 1500, QUICK_FOR_MS = 8000, LONGEST_MS = 600000, NONE_AFTER = 12, TIMEOUT_MS = 15000;
  const kept = new Map();   // by characteristic: what was photographed for it
  let page = null, shown = null;  // the screen that stands there now and wants to hear

  // ---- what was taken for a check -------------------------------------------------------------------

  function taken(check) {
    if (!kept.has(check.of)) {
      const last = check.measure && check.measure.last, fresh = { check: check, photos: [], together: null, afresh: "", lines: null, marks: {} };
      if (last && last.kind !== "angles") fresh.photos.push({ id: last.photo, kind: last.kind, url: "", stage: "stored", told: last.state === "waiting" ? null : last, check: check });
      if (last && last.kind === "angles" && last.state === "measured") fresh.together = last;
      kept.set(check.of, fresh);
      fresh.photos.forEach(follow);
    }
    return kept.get(check.of);
  }

  function lastPhoto(check) { const all = taken(check).photos; return all[all.length - 1] || null; }
  function measured(check) { return taken(check).photos.filter(function (p) { return p.told && p.told.state === "measured"; }); }

  // What could be taken as the reading now: of all photos together, of drawn lines, or of the last photo.
  function reading(check) {
    const t = taken(check), last = lastPhoto(check);
    if (t.lines && t.lines.told) return t.lines.told;
    if (t.together && t.together.state === "measured") return t.together;
    return last && last.told && last.told.state === "measured" ? last.told : null;
  }

  function fields(check) {
    const found = reading(check), t = taken(check);
    if (!found) return null;
    const said = { value: found.value, unit: check.number.unit, method: "photo" };
    if (found.kind === "lines") return Object.assign(said, { photo: t.lines.photo.id, lines: { size: t.lines.size, drawn: t.lines.drawn } });
    return Object.assign(said, { photo: found.photo, measured: found.key });
  }

  // What goes with a yes or no that was given beside a photo.
  function evidence(check) {
    if (!check.measure || check.measure.kind === "angle") return {};
    const last = lastPhoto(check);
    if (!last) return {};
    const said = { photo: last.id };
    if (!last.told || last.told.state !== "measured") return said;
    said.measured = last.told.key;
    const marks = Object.keys(taken(check).marks).map(function (id) { return [id, taken(check).marks[id]]; });
    if (marks.length) said.marks = marks;
    return said;
  }

  // ---- taking and following -------------------------------------------------------------------------

  function take(check, file, more) {
    const wish = more === null ? null : Object.assign({ measure: check.measure.kind, of: check.of }, more);
    return outbox.addPhoto(page.state.data.hand.code, file, page.state.data.me.number, wish).then(function (id) {
      const photo = { id: id, kind: check.measure.kind, url: URL.createObjectURL(file), stage: "kept", told: null, check: check, wanted: wish !== null };
      if (wish !== null) { taken(check).photos.push(photo); taken(check).together = null; taken(check).afresh = ""; taken(check).lines = null; taken(check).marks = {}; }
      // It may be on the bench already: what is sent quickly is told before this line is reached.
      if (!outbox.photos().some(function (p) { return p.client_id === id; })) arrived(photo);
      changed(check);
      return photo;
    });
  }

  function arrived(photo) { photo.stage = "stored"; if (photo.wanted !== false) follow(photo); }

  function asked(url, options) {
    const stop = new AbortController(), clock = setTimeout(function () { stop.abort(); }, TIMEOUT_MS);
    return fetch(url, Object.assign({ credentials: "same-origin", signal: stop.signal, headers: { Accept: "application/json" } }, options))
      .finally(function () { clearTimeout(clock); });
  }

  function follow(photo) {
    if (photo.told || photo.following) return;
    photo.following = true;
    until("/measured/" + photo.kind + "/" + photo.id + "/", function (told) { photo.following = false; photo.told = told; changed(photo.check, photo); });
  }

  // Ask after it until it is there. What does not come is no dead end: the field for one's own reading is beside it.
  function until(url, then) {
    const began = Date.now();
    let nothing = 0;
    (function ask() {
      const again = function () {
        const past = Date.now() - began;
        if (past < LONGEST_MS) setTimeout(ask, past < QUICK_FOR_MS ? QUICK_MS : SLOW_MS);
        else then({ state: "failed", reason: "It takes too long to read", do: "Read it yourself." });
      };
      asked(url).then(function (reply) {
        if (reply.status === 404) {
          nothing += 1;
          if (nothing < NONE_AFTER) return again();
          return then({ state: "refused", reason: "This photo is not read for this check", do: "It is kept as a picture. Read it yourself." });
        }
        if (!reply.ok) return again();
        return reply.json().then(function (told) { if (told.state === "waiting") again(); else then(told); });
      }).catch(again);
    })();
  }

  function putTogether(check, afresh) {
    const t = taken(check), form = new FormData();
    t.afresh = afresh;
    t.together = { state: "waiting" };
    form.append("of", check.of);
    form.append("photos", measured(check).map(function (p) { return p.id; }).join(","));
    form.append("afresh", afresh);
    changed(check);
    const lost = function () { if (t.together && t.together.state === "waiting") { t.together = { state: "failed", reason: "The bench was not reached", do: "Try again, or take the last reading." }; changed(check); } };
    asked("/h/" + page.state.data.hand.code + "/measured/together/", { method: "POST", headers: { Accept: "application/json", "X-CSRFToken": outbox.cookie("handsel-form") }, body: form })
      .then(function (reply) {
        if (!reply.ok) return lost();
        return reply.json().then(function (told) {
          if (told.state !== "waiting") { t.together = told; changed(check); }
          else until("/measured/" + told.key + "/", function (end) { t.together = end; changed(check); });
        });
      }).catch(lost);
  }

  function changed(check, photo) {
    if (shown && shown.check.of === check.of && document.body.contains(shown.root)) shown.draw();
    else if (photo && photo.told && page) page.cameIn(check, photo.told);
  }

  outbox.hear(function (event) {
    if (event.type === "photo") {
      kept.forEach(function (t) {
        t.photos.concat(t.lines ? [t.lines.photo] : []).filter(function (p) { return p.id === event.photo; }).forEach(function (photo) {
          if (event.refused) photo.told = { state: "refused", reason: event.refused.what || "It was not taken", do: event.refused.do || "" };
          else arrived(photo);
          changed(t.check);
        });
      });
    } else if (event.type === "trouble" && shown && document.body.contains(shown.root)) shown.draw();
  });

  // ---- pieces of the screen -------------------------------------------------------------------------

  let count = 0;
  function camera(words, chosen, how) {
    const id = "photo-in-" + (count += 1);
    const input = h("input", { type: "file", accept: "image/*", capture: "environment", id: id, class: "unseen" + (how && how.named ? " " + how.named : ""), onchange: function () {
      const file = input.files && input.files[0];
      if (file) chosen(file);
      input.value = "";
    } });
    return h("span", { class: "photo-field is-inline" }, input, h("label", { for: id, class: "photo-button" + (how && how.quiet ? " is-quiet" : "") }, how && how.shape === null ? null : parts.shape("camera"), words));
  }

  function verdict(judged) {
    if (!judged) return null;
    const known = judged.verdict === "recorded" ? "Recorded" : judged.verdict.charAt(0).toUpperCase() + judged.verdict.slice(1);
    return h("div", { class: "judged" },
      h("p", { class: "judged-word" }, parts.mark(judged.verdict === "recorded" ? "recorded" : judged.verdict), h("b", {}, known), judged.sentence && h("span", {}, ": " + judged.sentence + (/[.!]$/.test(judged.sentence) ? "" : "."))),
      judged.settle && h("p", { class: "judged-settle" }, h("b", {}, "Soonest: "), judged.settle),
      judged.advisories.map(function (a) { return h("p", { class: "second" }, a); }));
  }

  function number(told) {
    return h("p", { class: "reading", "data-reading": told.kind }, told.shown, " ", h("span", { class: "spread" }, told.spread + " (k = 2)"));
  }

  function account(told) {
    return h("details", { class: "sheet" }, h("summary", {}, "Where the ± comes from"), h("div", { class: "inside" },
      h("dl", { class: "facts" }, told.contributions.map(function (c) { return [h("dt", {}, c.name), h("dd", { class: "num" }, c.u.toFixed(2) + "°")]; })),
      h("p", { class: "second" }, "Each is one standard uncertainty, and their squares add up. The ± is two of their sum (k = 2): about 95 of 100 readings like this are no further off."),
      told.notes.map(function (n) { return h("p", { class: "second" }, n.charAt(0).toUpperCase() + n.slice(1) + "."); })));
  }

  function picture(photo, told) {
    const overlay = told && told.overlay, source = overlay || photo.url;
    if (!source) return null;
    const node = h("img", { class: "seen-picture", alt: overlay ? told.alt || "The photo with what was seen drawn on it" : "The photo that was taken" });
    node.addEventListener("error", function () { node.hidden = true; });
    node.src = source;
    return h("figure", { class: "seen" }, overlay ? h("a", { href: overlay, target: "_blank", rel: "noopener", title: "See it large" }, node) : node);
  }

  function waitingWords(photo) {
    if (photo.stage === "stored") return ["Stored on the bench. It is being read…", photo.kind === "parts" ? "Counting a kit takes a minute or so. Go on meanwhile: what it finds is said above." : ""];
    if (outbox.trouble()) return ["No connection: the photo waits on this phone.", outbox.kind() === "database" ? "It is sent and read by itself later. Go on, and read it yourself meanwhile." : "Leave this page open until it is sent. Read it yourself meanwhile."];
    return ["Photo kept on this phone, and on its way…", ""];
  }

  function waiting(photo) {
    const words = waitingWords(photo);
    return h("div", { class: "being-read" }, h("p", {}, h("b", {}, words[0])), words[1] && h("p", { class: "second" }, words[1]), photo.stage === "stored" && h("div", { class: "working" }));
  }

  // ---- the rest angle -------------------------------------------------------------------------------

  // hooks.changed: the reading that could be taken is another now.
  function angle(check, hooks) {
    const root = h("section", { class: "measure", "aria-label": "Read from a photo" }), said = h("div", { role: "status" }), rest = h("div", { class: "measure-ways" });
    let cards = remembered();
    root.appendChild(said);
    root.appendChild(rest);

    function chosen(file) { take(check, file, { cards: cards }); }
    function toLines(file) { take(check, file, null).then(function (photo) { startLines(check, photo); }); }

    function cardChoice() {
      return h("fieldset", { class: "methods cards-choice" }, h("legend", {}, "The cards are"), [["loose", "loose"], ["pads", "on printed pads"]].map(function (pair) {
        const radio = h("input", { type: "radio", name: "cards", id: "cards-" + pair[0], value: pair[0], onchange: function () { cards = pair[0]; remember(cards); } });
        radio.checked = cards === pair[0];
        return h("div", { class: "choice" }, radio, h("label", { for: "cards-" + pair[0] }, pair[1]));
      }));
    }

    let before = "";
    function draw() {
      const t = taken(check), last = lastPhoto(check), found = reading(check);
      said.textContent = "";
      rest.textContent = "";
      put(said, result(t, last, found));
      put(rest, ways(t, last, found));
      hooks.changed();
      // What has just come is brought into sight, unless somebody is typing.
      const now = last ? last.id + (last.told ? last.told.state : "") + (t.together ? t.together.state : "") : "";
      if (before && now !== before && document.activeElement.tagName !== "INPUT") root.scrollIntoView({ block: "start" });
      before = now || "none";
    }

    function result(t, last, found) {
      if (t.lines && t.lines.told) {
        return [h("p", { class: "kicker" }, "From the lines you drew" + (t.lines.drawn.length > 1 ? ", " + t.lines.drawn.length + " times" : "")), number(t.lines.told), verdict(t.lines.told.judged), account(t.lines.told)];
      }
      if (!last) return t.together ? [number(t.together), verdict(t.together.judged), account(t.together)] : [];
      if (!last.told) return [picture(last, null), waiting(last), earlier(t)];
      if (last.told.state !== "measured") return [picture(last, null), parts.notice("warning", last.told.reason + ".", last.told.do), earlier(t, last)];
      if (t.together && t.together.state === "measured") {
        return [picture(last, last.told), h("p", { class: "kicker" }, measured(check).length + " photos together, cards " + (t.together.afresh ? "put on afresh" : "left as they were")),
          number(t.together), verdict(t.together.judged), account(t.together)];
      }
      return [picture(last, last.told), number(last.told), verdict(last.told.judged), account(last.told), t.together && t.together.state !== "waiting" && parts.notice("warning", t.together.reason + ".", t.together.do)];
    }

    // A photo that shows nothing takes nothing away from the one before it.
    function earlier(t, refused) {
      const found = measured(check), before = found[found.length - 1];
      if (!before) return null;
      return [h("p", { class: "second" }, "The photo before says " + before.told.shown + " " + before.told.spread + "."),
        refused && parts.quiet("Go back to it", function () { t.photos.splice(t.photos.indexOf(before) + 1); changed(check); }, { id: "photo-before" })];
    }

    function ways(t, last, found) {
      const nodes = [], again = last && last.told && last.told.state !== "measured";
      if (measured(check).length > 1 && !t.lines && !(t.together && t.together.state === "measured")) nodes.push(t.together && t.together.state === "waiting" ? h("p", {}, "Reading them together…") : afreshAsked());
      nodes.push(h("div", { class: "bar" }, camera(again ? "Take it again" : last ? "Another photo" : "Take a photo", chosen, { named: "take-photo" }),
        last && again ? parts.button("Draw two lines on it", { kind: "plain", id: "draw-lines", press: function () { startLines(check, last); } })
          : camera("No cards: draw two lines", toLines, { quiet: true, named: "take-for-lines", shape: null })));
      if (t.lines && t.lines.told) nodes.push(h("div", { class: "bar" }, parts.quiet("Mend the lines", function () { page.lines(check); }, { id: "mend-lines" })));
      if (!found) nodes.push(cardChoice());
      return nodes;
    }

    function afreshAsked() {
      return h("div", { class: "afresh", role: "group", "aria-label": "Were the cards taken off and put on again between the photos?" },
        h("p", {}, h("b", {}, "Were the cards taken off and put on again between the photos?")),
        h("div", { class: "bar" }, parts.button("Yes, afresh", { kind: "plain", id: "afresh-yes", press: function () { putTogether(check, "yes"); } }),
          parts.button("No, left on", { kind: "plain", id: "afresh-no", press: function () { putTogether(check, "no"); } })));
    }

    shown = { check: check, root: root, draw: draw };
    draw();
    return { node: root, reading: function () { return reading(check); }, fields: function () { return fields(check); }, photo: function () { const last = lastPhoto(check); return last ? last.id : ""; } };
  }

  function startLines(check, photo) {
    taken(check).lines = { photo: photo, size: null, drawn: [], now: null, told: null };
    page.lines(check);
  }

  function remembered() { try { return localStorage.getItem("handsel-cards") === "pads" ? "pads" : "loose"; } catch (refused) { return "loose"; } }
  function remember(cards) { try { localStorage.setItem("handsel-cards", cards); } catch (refused) { /* asked again */ } }
  function put(root, nodes) { nodes.forEach(function add(n) { if (Array.isArray(n)) n.forEach(add); else if (n) root.appendChild(n); }); }

  // ---- what a photo shows beside a yes or no: parts on the mat, a cuff, a bend ------------------------

  const ASKED = {
    parts: { sheet: "Let a photo count them", length: ["bar_mm", "A bar of the mat, by caliper", 10, 400, "Leave it empty unless you measured one."], take: "Photograph the mat", words: "Lay the parts on the printed mat, none on another, and photograph it from above." },
    cuff: { sheet: "Let a photo measure the cuff", length: ["width_mm", "Outer width of that end, by caliper", 15, 300, "Leave it empty when a printed card or the mat is in the picture."], take: "Photograph the cuff", words: "A photo that looks into one end measures how far left and right differ." },
    bend: { sheet: "Let a photo mark pale lines", take: "Photograph the bend", words: "A close photo marks places that look lighter, for you to look at." },
  };

  // Of a group's ordinary questions the one that a photo helps with.
  function helped(group) { return group.checks.find(function (c) { return c.measure && !c.alone && ASKED[c.measure.kind]; }); }

  function helper(check) {
    if (!check || !check.measure || !ASKED[check.measure.kind]) return null;
    const kind = check.measure.kind, root = h("section", { class: "measure", "aria-label": ASKED[kind].take });
    function draw() {
      const last = lastPhoto(check), told = last && last.told;
      root.textContent = "";
      const state = h("div", { role: "status" }), mine = last ? root : h("div", { class: "inside" });
      // A help that nobody has asked for yet stays folded: the questions come first.
      if (!last) root.appendChild(h("details", { class: "sheet" }, h("summary", {}, parts.shape("camera"), " " + ASKED[kind].sheet), mine));
      root.classList.toggle("is-beside", Boolean(last));
      if (!last) state.appendChild(h("p", { class: "second" }, ASKED[kind].words));
      else if (!told) put(state, [picture(last, null), waiting(last)]);
      else if (told.state !== "measured") put(state, [picture(last, null), parts.notice("warning", told.reason + ".", told.do)]);
      else put(state, saw(last, told));
      mine.appendChild(state);
      if (ASKED[kind].length && !(told && told.state === "measured")) mine.appendChild(length(ASKED[kind].length));
      const done = Boolean(told && told.state === "measured");
      mine.appendChild(h("div", { class: "bar" }, kind === "parts" && done && camera("Photograph the rest", function (file) { taking(file, last.id); }, { named: "take-rest" }),
        camera(!last ? ASKED[kind].take : "Take it again", function (file) { taking(file, last && last.rest); }, { named: "take-photo", quiet: done })));
    }
    let typed = "";
    function length(what) {
      const input = h("input", { id: "photo-length", type: "text", inputmode: "decimal", autocomplete: "off", value: typed, oninput: function () { typed = input.value; wrong.textContent = ""; } });
      const wrong = h("p", { class: "wrong", role: "alert", id: "photo-length-wrong" });
      input.setAttribute("aria-describedby", "photo-length-how photo-length-wrong");
      return h("div", { class: "field photo-length" }, h("label", { for: "photo-length" }, what[1]), h("p", { class: "second", id: "photo-length-how" }, what[4]), h("div", { class: "number" }, input, h("span", { class: "unit" }, "mm")), wrong);
    }
    // A small sheet takes a kit in several photos: each says which one it goes on from.
    function taking(file, rest) {
      const what = ASKED[kind].length, value = what && typed.trim() ? parts.numberIn(typed) : null;
      if (what && typed.trim() && (value === null || value < what[2] || value > what[3])) {
        document.getElementById("photo-length-wrong").textContent = "Between " + what[2] + " and " + what[3] + " mm is expected. Mend it, and take the photo again.";
        return;
      }
      const more = {};
      if (value !== null && what) more[what[0]] = String(value);
      if (rest) more.rest_of = rest;
      take(check, file, more).then(function (photo) { photo.rest = rest || ""; });
    }
    // A person who confirms a place has answered; the buttons below still say it.
    const confirmed = h("p", { class: "again", role: "status" });
    function counted() {
      const t = taken(check), n = Object.keys(t.marks).filter(function (id) { return t.marks[id] === "confirmed"; }).length;
      confirmed.textContent = n ? "You confirmed " + (n === 1 ? "one place" : n + " places") + ": then it is not so." : "";
      confirmed.hidden = !n;
    }
    function saw(last, told) {
      const seen = told.seen || {};
      counted();
      return [seen.stop && parts.notice("stop", seen.stop, "Nothing is strung before this is put right."),
        seen.head !== seen.stop && h("p", { class: "saw-head" }, h("b", {}, seen.head)), picture(last, told),
        seen.rows && seen.rows.length > 0 && h("ul", { class: "saw-rows" }, seen.rows.map(function (r) { return h("li", {}, parts.mark(r.status), h("span", {}, r.words, r.small && h("small", { class: "second" }, r.small))); })),
        (seen.marks || []).map(marked), confirmed,
        told.notes.map(function (n) { return h("p", { class: "second" }, n); }),
        h("p", { class: "second" }, "The photo only helps: what you say counts.")];
    }
    function marked(m) {
      const t = taken(check), name = "mark-" + m.id;
      return h("fieldset", { class: "methods mark-asked" }, h("legend", {}, m.words), [["confirmed", m.yes], ["dismissed", m.no]].map(function (pair) {
        const radio = h("input", { type: "radio", name: name, id: name + "-" + pair[0], value: pair[0], onchange: function () { t.marks[m.id] = pair[0]; counted(); } });
        radio.checked = t.marks[m.id] === pair[0];
        return h("div", { class: "choice" }, radio, h("label", { for: name + "-" + pair[0] }, pair[1]));
      }));
    }
    shown = { check: check, root: root, draw: draw };
    draw();
    return root;
  }

  handsel.measure = {
    use: function (given) { page = given; }, angle: angle, helper: helper, helped: helped, evidence: evidence, taken: taken, asked: asked, changed: changed,
  };
})();
