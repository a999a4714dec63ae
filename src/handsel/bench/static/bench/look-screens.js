/* The inspector's screens. Each is built from the state and says what was answered to the page that shows it. */
(function () {
  "use strict";
  const handsel = window.handsel = window.handsel || {}, parts = handsel.parts, h = parts.h;

  function top(page, words) {
    const state = page.state, done = state.total - state.left();
    return h("p", { class: "along" },
      h("label", { for: "along" }, words || (done + " of " + state.total)),
      h("progress", { class: "thread", id: "along", value: done, max: Math.max(1, state.total) }));
  }

  function heading(words) { return h("h1", { class: "question", tabindex: "-1", id: "question" }, words); }

  // The ways aside, the same at every screen's foot: undo on the left, where am I on the right.
  function aside(page, extra) {
    return h("div", { class: "whole aside" },
      page.state.history.length ? parts.quiet("Undo", page.undo, { id: "undo", shape: "undo" }) : h("span"),
      extra, parts.quiet("Where am I", page.overview, { id: "where" }));
  }

  function reach(columns) {
    return h("div", { class: "reach" + (columns > 1 ? " reach-" + columns : "") }, Array.prototype.slice.call(arguments, 1));
  }

  // ---- how to hold it ---------------------------------------------------------------------------

  function hold(page, group) {
    const cards = page.state.cards(group).length, alone = group.checks.filter(function (c) { return c.alone && c.due.length; }).length;
    const count = cards + alone;
    // Said before the hand is taken up; what is asked alone says its own again.
    const cautions = group.checks.filter(function (c) { return c.caution && c.due.length; }).map(function (c) { return c.caution; })
      .filter(function (text, k, all) { return all.indexOf(text) === k; });
    return [
      top(page),
      h("p", { class: "kicker" }, group.again ? "Again, from " + group.again : page.state.data.at.title, group.turn && " · turn it over"),
      heading(group.title),
      page.figure("held", group.id, false, "Hold it as written below."),
      h("p", { class: "lead-in" }, group.how),
      cautions.length > 0 && careful(cautions),
      h("p", { class: "second" }, count === 1 ? "One thing to look at." : count + " things to look at, held like this."),
      reach(1, parts.button("It is held so", { press: page.next, id: "held", shape: group.turn ? "turn" : null }), aside(page)),
    ];
  }

  // ---- a group's ordinary questions -------------------------------------------------------------

  function cards(page, group) {
    const state = page.state, list = h("ul", { class: "items look-cards" });
    let open = 0, spoken = 0;
    state.cards(group).forEach(function (check) {
      const said = state.summary(check), left = check.left.size;
      const own = check.due.some(function (p) { const s = state.saidOf(check, p); return s && s.own && s.shown !== "as shown"; });
      if (left) open += 1;
      if (own) spoken += 1;
      const not = own && said.status === "does not conform", told = own ? said.shown + (said.places.length ? ": " + said.places.map(parts.placeWords).join(", ") : "") : "";
      list.appendChild(h("li", {}, h("button", { type: "button", class: "item", "aria-pressed": not ? "true" : "false", onclick: function () { page.open(check); } },
        page.small(check.of),
        h("span", { class: "words" }, check.title, check.reason && !own && h("small", { class: "second" }, check.reason),
          own && h("span", { class: "mark" }, parts.mark(said.status), h("span", {}, told))))));
    });
    const shownAt = page.shownAt;
    return [
      top(page),
      h("p", { class: "kicker" }, group.title),
      heading(open ? "Tap what is not as shown" : "All of these are answered"),
      handsel.measure.helper(handsel.measure.helped(group)),
      list,
      reach(1, parts.button(!open ? "Go on" : spoken ? "All the rest as shown" : "All as shown", { id: "as-shown", small: open > 1 && open + " things", press: function () { page.groupDone(group, shownAt); } }), aside(page)),
    ];
  }

  // ---- one question alone -----------------------------------------------------------------------

  function asked(page, check) {
    const how = check.substitute ? "Instead, as it can no longer be seen itself: " + check.how : check.how;
    return {
      kicker: h("p", { class: "kicker" }, check.severity === "critical" && h("b", { class: "critical" }, parts.shape("care"), "Could hurt someone"), check.severity !== "critical" && check.group.title, h("span", { class: "second code-small" }, " " + check.code)),
      reason: check.reason && h("p", { class: "again" }, check.reason),
      how: h("p", { id: "how" }, how),
      why: h("p", { class: "why" }, check.why),
      caution: check.caution && careful([check.caution]),
    };
  }

  function careful(texts) {
    return h("div", { class: "careful", role: "note" }, parts.shape("care"), h("div", {}, texts.map(function (t) { return h("p", {}, t); })));
  }

  const SHAPES = { good: "conforms", bad: "not" };

  function check(page, c) {
    if (c.kind === "number") return number(page, c);
    const said = asked(page, c), shownAt = page.shownAt;
    if (c.per !== "hand" && c.places.length > 1) return atPlaces(page, c, said);
    const words = c.answers.length === 2 && c.answers[0].value === "yes" ? { yes: "Yes", no: "No" } : {};
    const wide = c.answers.some(function (a) { return a.value.length > 12; });
    const buttons = c.answers.map(function (a) {
      return parts.button(words[a.value] || capital(a.value), { kind: a.good && words.yes ? "" : "plain", shape: words.yes && SHAPES[a.good ? "good" : "bad"], id: "answer-" + a.value.replace(/[^a-z0-9]+/gi, "-"), press: function () {
        if (a.good) page.answered(c, [], { answer: a.value }, shownAt);
        else page.details(c, a.value, [], shownAt);
      } });
    });
    return [
      top(page), said.kicker, heading(c.title), said.reason, page.figure("checks", c.of, true), said.how, said.caution,
      handsel.measure.helper(c), said.why, otherwise(page, c),
      reach(wide ? 1 : 2, buttons, aside(page, cantTell(page, c, [], shownAt))),
    ];
  }

  function capital(text) { return text.charAt(0).toUpperCase() + text.slice(1); }

  function cantTell(page, c, places, shownAt) {
    return h("button", { type: "button", class: "cant-tell", id: "cant-tell", onclick: function () {
      page.details(c, "can't tell", places, shownAt);
    } }, parts.shape("undecided"), "Can't tell");
  }

  // It may be hidden by now though nobody wrote that down: the other check is offered, and nothing is a dead end.
  function otherwise(page, c) {
    if (!c.otherwise) return null;
    return h("details", { class: "sheet" }, h("summary", {}, "It can no longer be seen"), h("div", { class: "inside" },
      h("p", {}, "Then do this instead: " + c.otherwise),
      h("div", { class: "bar" }, parts.button("Yes, so it is", { kind: "plain", shape: "conforms", press: function () { page.answered(c, [], { answer: "yes", method: "substitute" }, page.shownAt); } }),
        parts.button("No", { kind: "plain", shape: "not", press: function () { page.answered(c, c.per === "hand" ? [] : Array.from(c.left), { answer: "no", method: "substitute" }, page.shownAt); } }))));
  }

  // One question for each digit, cord or knot: a drawn row, and a tap on those that are not so.
  function atPlaces(page, c, said) {
    const chosen = new Set(), shownAt = page.shownAt, bad = c.answers.filter(function (a) { return !a.good; });
    const good = c.answers.find(function (a) { return a.good; });
    const foot = reach(1);
    function fill() {
      foot.textContent = "";
      const places = c.places.filter(function (p) { return chosen.has(p); }), names = places.map(parts.placeWords).join(", ");
      if (!places.length) {
        const rest = c.left.size === c.places.length ? [] : Array.from(c.left.size ? c.left : c.due);
        foot.appendChild(parts.button(good && good.value === "yes" ? "Every one is so" : capital(good.value) + ", every one", { shape: "conforms", id: "every-one", press: function () {
          page.answered(c, rest, { answer: good.value }, shownAt);
        } }));
        foot.appendChild(aside(page, cantTell(page, c, Array.from(c.left.size ? c.left : c.due), shownAt)));
      } else {
        bad.forEach(function (a) {
          foot.appendChild(parts.button((a.value === "no" ? "Not so" : capital(a.value)) + ": " + names, { shape: "not", id: "not-so", press: function () { page.details(c, a.value, places, shownAt); } }));
        });
        foot.appendChild(aside(page, cantTell(page, c, places, shownAt)));
      }
    }
    fill();
    return [
      top(page), said.kicker, heading(c.title), said.reason, page.figure("checks", c.of, "lower"), said.how, said.caution,
      h("p", { class: "kicker" }, "Tap those that are not so"), parts.placeRow(c, c.group, page.state.data.hand.side, chosen, fill),
      said.why, otherwise(page, c), foot,
    ];
  }

  // ---- not so, or can't tell: what there is to say of it ----------------------------------------

  function details(page, c, answer, places, shownAt) {
    const cant = answer === "can't tell", note = h("textarea", { id: "note", rows: "2", maxlength: "500" });
    const photo = photoField(page, "Photo of it");
    const chips = c.phrases.map(function (phrase) {
      return h("button", { type: "button", class: "phrase", onclick: function () {
        note.value = note.value.trim() ? note.value.trim() + "; " + phrase : phrase;
      } }, phrase);
    });
    return [
      top(page), h("p", { class: "kicker" }, c.title),
      heading((cant ? "Can't tell" : answer === "no" ? "Not so" : capital(answer)) + (places.length && c.per !== "hand" ? ": " + places.map(parts.placeWords).join(", ") : "")),
      cant && h("p", {}, "Another person looks at it, or you do, in better light."),
      h("p", { class: "kicker" }, "What is to be seen? Leave it empty if the drawing says it."),
      h("div", { class: "phrases" }, chips),
      h("div", { class: "field" }, h("label", { for: "note" }, "In your words"), note),
      photo.node,
      reach(1, parts.button(cant ? "Keep: can't tell" : "Keep: not so", { id: "keep", shape: cant ? "undecided" : "not", press: function () {
        const fields = { answer: answer };
        if (note.value.trim()) fields.note = note.value.trim();
        if (photo.id()) fields.photo = photo.id();
        page.answered(c, places, fields, shownAt);
      } }), h("div", { class: "whole aside" }, parts.quiet("Back, it is so after all", page.again, { id: "back-to" }))),
    ];
  }

  // A photo goes into the outbox when it is taken; its id is what the answer names.
  function photoField(page, words, taken) {
    let id = "";
    const shown = h("p", { class: "second", role: "status" });
    const input = h("input", { type: "file", accept: "image/*", capture: "environment", id: "photo", class: "unseen", onchange: function () {
      const file = input.files && input.files[0];
      if (!file) return;
      handsel.outbox.addPhoto(page.state.data.hand.code, file, page.state.data.me.number).then(function (given) {
        id = given;
        shown.textContent = "";
        const picture = h("img", { class: "photo-kept", alt: "The photo that goes with it" });
        picture.src = URL.createObjectURL(file);
        shown.appendChild(picture);
        shown.appendChild(document.createTextNode(handsel.outbox.kind() === "database" ? "Photo kept on this phone, and sent by itself."
          : "This phone cannot keep photos: leave the page open until it is sent."));
        if (taken) taken();
      });
    } });
    return { node: h("div", { class: "photo-field" }, input, h("label", { for: "photo", class: "photo-button" }, parts.shape("camera"), words), shown), id: function () { return id; } };
  }

  function photoScreen(page, group, shownAt) {
    const keep = parts.button("Keep and go on", { id: "keep-photo", press: function () { page.shown(group, shownAt, photo.id()); } });
    keep.hidden = true;
    const photo = photoField(page, "Take the photo", function () { keep.hidden = false; skip.hidden = true; });
    const skip = parts.button("Not possible now", { kind: "plain", id: "no-photo", press: function () { page.shown(group, shownAt, ""); } });
    return [
      top(page), h("p", { class: "kicker" }, group.title), heading("This time, a photo of it"),
      h("p", { class: "lead-in" }, "One group in ten is photographed as it was held, so that people can compare what they see."),
      page.figure("held", group.id, true, " "), photo.node, reach(1, keep, skip, aside(page)),
    ];
  }

  // ---- a number ---------------------------------------------------------------------------------

  function number(page, c) {
    const n = c.number, said = asked(page, c), shownAt = page.shownAt, earlier = c.places.map(function (p) { return page.state.saidOf(c, p); }).find(Boolean) || {};
    const readings = (earlier.readings || []).slice();
    // Who types a number where a photo can be read has read it in another way, until they say otherwise.
    const typed = c.measure ? n.methods.filter(function (m) { return m !== "photo"; }) : n.methods;
    const usual = typed.length ? typed : n.methods;
    let method = earlier.method || page.lastMethod(c);
    if (usual.indexOf(method) < 0) method = usual[0];
    const wrong = h("p", { class: "wrong", role: "alert", id: "number-wrong" }), list = h("p", { class: "readings", role: "status" });
    const input = h("input", { id: "number", type: "text", inputmode: "decimal", autocomplete: "off", enterkeyhint: "next", "aria-describedby": "number-wrong how", "aria-labelledby": "question unit-words",
      onkeydown: function (event) { if (event.key === "Enter") { event.preventDefault(); goOn(); } }, oninput: function () { if (wrong.textContent) bad(""); label(); } });
    const field = h("div", { class: "field number-field" },
      h("div", { class: "number-line" },
        n.negative && h("button", { type: "button", class: "sign", id: "sign", "aria-label": "Change the sign", onclick: turnSign }, "±"),
        h("div", { class: "number" }, input, h("span", { class: "unit", "aria-hidden": "true" }, n.sign))),
      h("span", { class: "unseen", id: "unit-words" }, "in " + n.words), wrong);

    function turnSign() {
      const text = input.value.trim().replace(/^[+]/, "");
      input.value = /^[-−]/.test(text) ? text.replace(/^[-−]/, "") : "−" + text;
      input.focus();
    }
    function bad(words) {
      field.classList.toggle("is-wrong", Boolean(words));
      input.setAttribute("aria-invalid", words ? "true" : "false");
      wrong.textContent = "";
      if (words) { wrong.appendChild(parts.shape("not")); wrong.appendChild(h("span", {}, words)); }
    }
    function listed() {
      list.textContent = "";
      readings.forEach(function (r, k) {
        list.appendChild(h("button", { type: "button", class: "reading-chip", "aria-label": "Take out " + parts.shown(r), onclick: function () { readings.splice(k, 1); listed(); input.focus(); } },
          parts.withUnit(parts.shown(r), n), h("span", { "aria-hidden": "true" }, " ×")));
      });
      list.hidden = !readings.length;
      label();
    }
    // The one main button says what it keeps: the photo's reading, or one's own in its place.
    function label() {
      if (!photo || !main) return;
      const own = Boolean(input.value.trim() || readings.length), found = photo.reading();
      main.querySelector("span").textContent = found && !own ? "Take " + found.shown : found ? "Keep mine instead" : "Keep and go on";
    }
    function take() {
      const words = wrongNumber();
      bad(words);
      if (words) { input.focus(); input.select(); return false; }
      if (input.value.trim()) readings.push(parts.numberIn(input.value));
      input.value = "";
      return true;
    }
    function wrongNumber() {
      if (!input.value.trim() && readings.length) return "";
      return parts.wrongNumber(input.value, n);
    }
    function readAgain() { if (take()) { listed(); input.focus(); } }
    function goOn() {
      const seen = photo && photo.fields();
      if (seen && !input.value.trim() && !readings.length) { page.answered(c, [], seen, shownAt); return; }
      if (!take()) return;
      page.keepMethod(c, method);
      const fields = readings.length === 1 ? { value: readings[0] } : { readings: readings.slice() };
      fields.unit = n.unit;
      fields.method = method;
      if (photo && photo.photo()) fields.photo = photo.photo();
      page.answered(c, [], seen ? [seen, fields] : fields, shownAt);
    }
    const main = parts.button("Keep and go on", { id: "keep-number", press: goOn });
    let photo = null;
    if (c.measure && c.measure.kind === "angle") photo = handsel.measure.angle(c, { changed: label });
    listed();
    const nodes = [
      top(page), said.kicker, heading(c.title), said.reason, said.how, said.caution, photo && photo.node,
      photo && h("h2", { class: "or-own" }, "Or read it yourself"), field, list,
      h("div", { class: "number-ways" }, h("button", { type: "button", class: "quiet", id: "read-again", onclick: readAgain }, "Read again"), methods()),
      page.figure("checks", c.of, true), said.why, otherwise(page, c),
      reach(1, main, aside(page, cantTell(page, c, [], shownAt))),
    ];
    function methods() {
      if (usual.length < 2) return null;
      return h("div", { class: "methods", role: "radiogroup", "aria-label": "Read with" }, usual.map(function (name, k) {
        const radio = h("input", { type: "radio", name: "method", id: "method-" + k, value: name, onchange: function () { method = name; } });
        radio.checked = name === method;
        return h("div", { class: "choice" }, radio, h("label", { for: "method-" + k }, name));
      }));
    }
    if (!photo) nodes.focus = input;  // else the keyboard would cover the camera's button
    return nodes;
  }

  // ---- the end, and where one is ----------------------------------------------------------------

  function found(page) {
    const state = page.state, rows = [];
    state.checks.forEach(function (c) {
      const said = state.summary(c);
      if (said.status !== "does not conform" && said.status !== "undecided") return;
      rows.push(h("li", {}, h("button", { type: "button", class: "item", onclick: function () { page.open(c); } }, parts.mark(said.status),
        h("span", { class: "words" }, c.title, h("small", { class: "second" }, said.shown + (said.places.length ? ": " + said.places.map(parts.placeWords).join(", ") : ""))))));
    });
    return rows;
  }

  function end(page) {
    const state = page.state, rows = found(page), left = state.left();
    return [
      top(page), h("p", { class: "kicker" }, state.data.at.title),
      heading(left ? "Stop looking here?" : "Everything here is looked at"),
      left > 0 && h("p", { class: "lead-in" }, left === 1 ? "One thing is not looked at yet." : left + " things are not looked at yet.", " The answer says what it still needs."),
      stopped(state),
      rows.length ? [h("h2", {}, "Not as it should be, or not settled"), h("ul", { class: "items" }, rows)] : !left && h("p", { class: "lead-in" }, "Nothing was found that is not as it should be. The answer counts the numbers too."),
      page.askState,
      reach(1, left > 0 && parts.button("Go on looking", { id: "go-on", press: page.goOn }),
        parts.button(left ? "Get the answer all the same" : "Get the answer", { kind: left ? "plain" : "", id: "ask", press: page.ask }), aside(page)),
    ];
  }

  // What a step done too early has hidden for good: said, with the ways on.
  function stopped(state) {
    return state.data.stopped.filter(function (s) { return s.hidden.length; }).map(function (s) {
      return parts.notice("calm", s.title + ": " + s.reason, s.hidden.join("; "), h("ul", {}, s.ways.map(function (w) { return h("li", {}, w); })));
    });
  }

  function overview(page) {
    const state = page.state, note = h("textarea", { id: "hand-note", rows: "2", maxlength: "2000" }), kept = h("p", { class: "second", role: "status" });
    const groups = state.data.groups.map(function (g) {
      const left = g.checks.filter(function (c) { return c.left.size; }).length;
      return h("details", { class: "sheet", open: g === page.group() }, h("summary", {}, g.title, h("span", { class: "second" }, left ? left + " to look at" : "done")),
        h("div", { class: "inside" }, h("ul", { class: "items" }, g.checks.map(function (c) {
          const said = state.summary(c);
          return h("li", {}, h("button", { type: "button", class: "item", onclick: function () { page.open(c); } }, parts.mark(said.status),
            h("span", { class: "words" }, c.title, h("small", { class: "second" }, said.shown ? said.shown + (said.places.length ? ": " + said.places.map(parts.placeWords).join(", ") : "") : c.left.size ? "not looked at yet" : ""))));
        }))));
    });
    const line = document.getElementById("look-stations");
    return [
      h("p", { class: "kicker" }, state.data.hand.shown + " · " + state.data.hand.called), heading("Where this hand is"),
      line ? h("div", { html: line.innerHTML }) : null, top(page),
      h("p", { class: "second" }, "This counts what the bench has and what this phone holds. What another phone has not sent yet, nobody can see here."), groups, stopped(state),
      h("div", { class: "field" }, h("label", { for: "hand-note" }, "A note about the whole hand"), note, kept,
        parts.button("Keep the note", { kind: "plain", press: function () {
          if (!note.value.trim()) return;
          state.note(note.value.trim());
          note.value = "";
          kept.textContent = "Kept.";
        } })),
      h("p", {}, parts.quiet("Stop here, someone else goes on", page.putDown, { id: "put-down" })),
      reach(2, parts.button("Get the answer", { kind: "plain", id: "to-end", press: page.toEnd }), parts.button("Go on", { id: "go-on", press: page.goOn })),
    ];
  }

  handsel.screens = { hold: hold, cards: cards, check: check, details: details, photo: photoScreen, end: end, overview: overview };
})();
