/* Pieces that the inspector's screens are put together from. */
(function () {
  "use strict";
  const handsel = window.handsel = window.handsel || {};

  function h(tag, attributes) {
    const node = document.createElement(tag), given = attributes || {};
    Object.keys(given).forEach(function (name) {
      const value = given[name];
      if (value === null || value === undefined || value === false) return;
      if (name.slice(0, 2) === "on") node.addEventListener(name.slice(2), value);
      else if (name === "html") node.innerHTML = value;  // our own drawings and shapes, never what a person typed
      else if (name === "hidden" || name === "checked" || name === "disabled") node[name] = true;
      else node.setAttribute(name, value === true ? "" : value);
    });
    Array.prototype.slice.call(arguments, 2).forEach(function add(child) {
      if (Array.isArray(child)) child.forEach(add);
      else if (child !== null && child !== undefined && child !== false && child !== "") {
        node.appendChild(typeof child === "object" ? child : document.createTextNode(String(child)));
      }
    });
    return node;
  }

  function shape(name, more) {
    return h("span", { class: "shaped", html: '<svg class="shape' + (more ? " " + more : "") +
      '" aria-hidden="true" focusable="false" viewBox="0 0 24 24"><use href="#s-' + name + '"></use></svg>' }).firstChild;
  }

  // words; how: kind "plain" or "final", shape, small, whole, press
  function button(words, how) {
    return h("button", { type: "button", class: "big-button" + (how.kind ? " " + how.kind : "") + (how.whole ? " whole" : ""),
      id: how.id, onclick: how.press, "aria-describedby": how.describedby },
      how.shape && shape(how.shape), h("span", {}, words, how.small && h("small", {}, how.small)));
  }

  function quiet(words, press, named) {
    return h("button", { type: "button", class: "quiet", onclick: press, id: named && named.id }, named && named.shape && shape(named.shape), words);
  }

  function notice(kind, head, text, more) {
    const shapes = { stop: "stop", warning: "care", done: "conforms" };
    return h("div", { class: "notice notice-" + kind, role: kind === "stop" || kind === "warning" ? "alert" : "status" },
      shape(shapes[kind] || "note"), h("div", { class: "body" }, head && h("b", {}, head), text && h("p", {}, text), more));
  }

  // A drawing; where it has not arrived, a calm empty place with its words.
  function figure(svg, low, named) {
    if (svg) return h("figure", { class: "figure" + (low ? " is-low" : "") + (low === "lower" ? " is-lower" : ""), html: svg });
    return h("figure", { class: "figure figure-missing" + (low ? " is-low" : "") },
      h("p", { class: "second" }, named || "The drawing is not on this phone yet. The words say it too."));
  }

  function small(svg) { return h("span", { class: "drawing-small", "aria-hidden": "true", html: svg || "" }); }

  const MARKS = { conforms: "conforms", recorded: "conforms", "does not conform": "not", undecided: "undecided", "not seen": "unseen" };
  function mark(status) { return shape(MARKS[status] || "unseen"); }

  // ---- places: a drawn row of digits ------------------------------------------------------------

  const HEIGHT = { index: 78, middle: 90, ring: 82, little: 62, thumb: 56 };

  function digitShape(id, per) {
    const digit = id.indexOf("thumb") === 0 ? "thumb" : id, tall = HEIGHT[digit] || 80, top = 96 - tall;
    const wide = digit === "thumb" ? 30 : 24, x = 30 - wide / 2, r = wide / 2;
    const body = "M" + x + " 96 V" + (top + r) + " A" + r + " " + r + " 0 0 1 " + (x + wide) + " " + (top + r) + " V96 Z";
    const joint = "M" + x + " " + (top + tall * 0.46) + " H" + (x + wide);
    let more = "";
    if (per === "knot") {
      more = id === "thumb-pin" ? '<path class="row-cord" d="M30 96 V52"/><circle class="row-knot" cx="30" cy="50" r="9"/><path class="row-cord" d="M14 50 H46"/>'
        : '<path class="row-cord" d="M30 96 V' + (top + 16) + '"/><circle class="row-knot" cx="30" cy="' + (top + 14) + '" r="6.5"/>';
    } else if (per === "cord") more = '<path class="row-cord" d="M30 96 V' + (top + 12) + '"/>';
    const finger = id === "thumb-pin" ? "" : '<path class="row-digit" d="' + body + '"/><path class="row-joint" d="' + joint + '"/>';
    return '<svg class="row-svg" aria-hidden="true" focusable="false" viewBox="0 0 60 100">' + finger + more + "</svg>";
  }

  function pairShape(ids) {
    return '<span class="row-pair">' + ids.map(function (id) { return digitShape(id, "cord"); }).join("") + "</span>";
  }

  function placeWords(place) { return place.replace(/-/g, " "); }

  // Digits stand as they do on the hand that one is looking at.
  function asHeld(places, side, view) {
    const thumbRight = (side === "right") !== (view === "back-up" || view === "tips-toward");
    const order = places.slice();
    return thumbRight ? order.filter(isFinger).reverse().concat(order.filter(isThumb)) : order.filter(isThumb).concat(order.filter(isFinger));
  }
  function isThumb(p) { return p.indexOf("thumb") === 0; }
  function isFinger(p) { return !isThumb(p); }

  // Tapped are those that are not as they should be.
  function placeRow(check, group, side, chosen, changed) {
    const row = h("div", { class: "place-row place-row-" + check.per, role: "group", "aria-label": "Which are not so" });
    asHeld(check.due.length ? check.due : check.places, side, group.view).forEach(function (place) {
      const pair = check.per === "cord" && place.indexOf("-") > 0 ? place.split("-") : null;
      const drawn = h("span", { class: "row-drawn", html: pair ? pairShape(asHeld(pair, side, group.view)) : digitShape(place, check.per) });
      const said = h("span", { class: "row-said" });
      const tile = h("button", { type: "button", class: "place-tile", "aria-pressed": chosen.has(place) ? "true" : "false", onclick: function () {
        if (chosen.has(place)) chosen.delete(place); else chosen.add(place);
        show();
        changed();
      } }, drawn, h("span", { class: "row-word" }, pair ? pair.join(" + ") : placeWords(place)), said);
      function show() {
        tile.setAttribute("aria-pressed", chosen.has(place) ? "true" : "false");
        said.textContent = "";
        if (chosen.has(place)) { said.appendChild(shape("not")); said.appendChild(h("span", { class: "row-not" }, "not so")); }
      }
      show();
      row.appendChild(tile);
    });
    return row;
  }

  // ---- numbers ----------------------------------------------------------------------------------

  // What a finger, a caliper or a scale may have typed, as a number; null when it is none.
  function numberIn(text) {
    const plain = text.replace(/[\s\u00a0\u2007\u202f]/g, "").replace(/[\u2212\u2013\u2014]/g, "-").replace(/,/g, ".");
    const found = /^([+-]?(?:\d+\.?\d*|\.\d+))(?:mm|g|n|deg|°|%|turns?)?$/i.exec(plain);
    return found ? Number(found[1]) : null;
  }

  function shown(x) { return String(Math.round(x * 1000) / 1000).replace("-", "−"); }
  function withUnit(text, number) { return text + (number.sign === "°" ? "°" : " " + number.sign); }

  function wrongNumber(text, number) {
    if (!text.trim()) return "Type what you read, or say that you can't tell.";
    const value = numberIn(text);
    if (value === null) {
      return /["”]|in(ch)?$/i.test(text.trim()) ? "Is that in inches? It is wanted in " + number.words + "."
        : "“" + text.trim().slice(0, 12) + "” is no number.";
    }
    if (value < number.min || value > number.max) {
      return withUnit(shown(value), number) + ": is that in " + number.words + "? Between " + shown(number.min) + " and " + shown(number.max) + " is expected here.";
    }
    return "";
  }

  handsel.parts = {
    h: h, shape: shape, button: button, quiet: quiet, notice: notice, figure: figure, small: small, mark: mark, placeRow: placeRow,
    placeWords: placeWords, numberIn: numberIn, wrongNumber: wrongNumber, shown: shown, withUnit: withUnit,
  };
})();
