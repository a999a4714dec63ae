/* Two lines drawn on a photo by finger or by keys, where there are no cards. A thumb covers what it touches, so what
   lies under it is shown larger beside it. The bench works out the angle again from the lines; here it is told at once. */
(function () {
  "use strict";
  const handsel = window.handsel = window.handsel || {}, parts = handsel.parts, h = parts.h, outbox = handsel.outbox;
  const SVG = "http://www.w3.org/2000/svg", GLASS_PX = 132, ZOOM = 3, STEP_RATIO = 0.0015, ASK_AFTER_MS = 450;
  const ENDS = [["palm", 0, "Palm line, wrist end"], ["palm", 1, "Palm line, finger end"], ["cuff", 0, "Cuff line, wrist end"], ["cuff", 1, "Cuff line, elbow end"]];

  // ---- the sums, as the bench does them ---------------------------------------------------------------

  function turn(one) {
    const u = [one.palm[0][0] - one.palm[1][0], one.palm[0][1] - one.palm[1][1]], v = [one.cuff[1][0] - one.cuff[0][0], one.cuff[1][1] - one.cuff[0][1]];
    const deg = Math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1]) * 180 / Math.PI;
    return one.palm[1][0] >= one.palm[0][0] ? deg : -deg;
  }
  function long(line) { return Math.hypot(line[1][0] - line[0][0], line[1][1] - line[0][1]); }

  function worked(drawn, size, by) {
    const longer = Math.max(size[0], size[1]), mean = drawn.reduce(function (sum, one) { return sum + turn(one); }, 0) / drawn.length;
    const placing = Math.sqrt(drawn.reduce(function (sum, one) {
      const t = Math.SQRT2 * by.placing_ratio * longer * Math.hypot(1 / long(one.palm), 1 / long(one.cuff));
      return sum + t * t;
    }, 0)) / drawn.length * 180 / Math.PI;
    const at = Math.min(Math.max((mean - by.slant_from_deg) / by.slant_step_deg, 0), by.slant_deg.length - 1), low = Math.floor(at), high = Math.min(low + 1, by.slant_deg.length - 1);
    const slant = by.slant_deg[low] + (at - low) * (by.slant_deg[high] - by.slant_deg[low]);
    const u = Math.hypot(placing, by.edges_deg, slant), value = Math.round(10 * mean) / 10;
    return { kind: "lines", value: value, u: u, shown: value.toFixed(1).replace("-", "−") + "°", spread: "± " + (2 * u).toFixed(1) + "°", notes: [], judged: null, contributions: [
      { name: "view from aside, unknown", u: slant }, { name: "placing of the ends", u: placing }, { name: "edges taken for the axes", u: by.edges_deg }] };
  }

  function wrong(one, size, by) {
    const longer = Math.max(size[0], size[1]), angle = turn(one);
    if (long(one.palm) < by.shortest_ratio * longer || long(one.cuff) < by.shortest_ratio * longer) return "A line is too short: draw it along the whole edge.";
    if (angle < -60 || angle > 120) return "No hand rests so: palm line toward the fingers, cuff line toward the elbow. If the fingers point the other way, turn the lines round.";
    return "";
  }

  function fresh(size) {
    const x = function (r) { return Math.round(r * size[0]); }, y = function (r) { return Math.round(r * size[1]); };
    return { palm: [[x(0.58), y(0.6)], [x(0.88), y(0.6)]], cuff: [[x(0.42), y(0.5)], [x(0.12), y(0.36)]] };
  }

  // ---- the screen -------------------------------------------------------------------------------------

  function screen(page, check) {
    const t = handsel.measure.taken(check), mine = t.lines, by = page.state.data.lines;
    const stage = h("div", { class: "lines-stage" }), img = h("img", { class: "lines-photo", alt: "The photo; the lines lie on it", draggable: "false" });
    const svg = document.createElementNS(SVG, "svg"), glass = h("canvas", { class: "lines-glass", "aria-hidden": "true" }), said = h("p", { class: "lines-said", role: "status" });
    const live = h("p", { class: "reading lines-reading" }), keep = parts.button("These are the lines", { id: "keep-lines", press: kept });
    const bad = h("p", { class: "wrong", role: "alert", id: "lines-wrong" }), foot = h("div", { class: "reach" });
    const shapes = {}, handles = [];
    let size = mine.size, now = mine.now, timer = 0, scale = 1, touched = { palm: false, cuff: false };
    svg.setAttribute("class", "lines-svg");
    svg.setAttribute("aria-hidden", "true");
    glass.hidden = true;
    keep.disabled = true;

    ["palm", "cuff"].forEach(function (name) {
      shapes[name] = ["edge", "line"].map(function (kind) {
        const line = document.createElementNS(SVG, "line");
        line.setAttribute("class", "lines-" + kind + " is-" + name);
        svg.appendChild(line);
        return line;
      });
    });
    ENDS.forEach(function (end, n) {
      const handle = h("button", { type: "button", class: "lines-end is-" + end[0], id: "end-" + n, "aria-label": end[2], "aria-describedby": "lines-keys" });
      handle.addEventListener("pointerdown", function (event) { grabbed(event, handle, n); });
      handle.addEventListener("keydown", function (event) { keyed(event, n); });
      handle.addEventListener("focus", function () { glassAt(n); });
      handle.addEventListener("blur", function () { glass.hidden = true; });
      handles.push(handle);
    });
    stage.appendChild(img);
    stage.appendChild(svg);
    handles.forEach(function (handle) { stage.appendChild(handle); });
    stage.appendChild(glass);

    function point(n) { return now[ENDS[n][0]][ENDS[n][1]]; }
    function set(n, x, y) { touched[ENDS[n][0]] = true; now[ENDS[n][0]][ENDS[n][1]] = [within(x, size[0]), within(y, size[1])]; }
    function within(v, most) { return Math.round(10 * Math.min(Math.max(v, 0), most)) / 10; }

    // Grabbed anywhere on its ring, an end moves as far as the finger does; it does not jump under it.
    function grabbed(event, handle, n) {
      event.preventDefault();
      handle.focus({ preventScroll: true });
      const start = point(n).slice(), x = event.clientX, y = event.clientY;
      try { handle.setPointerCapture(event.pointerId); } catch (gone) { return; }
      function moved(e) { set(n, start[0] + (e.clientX - x) / scale, start[1] + (e.clientY - y) / scale); draw(); glassAt(n); }
      function ended() {
        handle.removeEventListener("pointermove", moved);
        handle.removeEventListener("pointerup", ended);
        handle.removeEventListener("pointercancel", ended);
        glass.hidden = true;
        settled();
      }
      handle.addEventListener("pointermove", moved);
      handle.addEventListener("pointerup", ended);
      handle.addEventListener("pointercancel", ended);
      glassAt(n);
    }

    const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    function keyed(event, n) {
      const way = KEYS[event.key];
      if (!way || !size) return;
      event.preventDefault();
      const step = STEP_RATIO * Math.max(size[0], size[1]) * (event.shiftKey ? 8 : 1), p = point(n);
      set(n, p[0] + way[0] * step, p[1] + way[1] * step);
      draw();
      glassAt(n);
      settled();
    }

    function draw() {
      if (!size) return;
      scale = stage.clientWidth / size[0] || 1;
      ["palm", "cuff"].forEach(function (name) {
        shapes[name].forEach(function (line) {
          [["x1", 0, 0], ["y1", 0, 1], ["x2", 1, 0], ["y2", 1, 1]].forEach(function (a) { line.setAttribute(a[0], now[name][a[1]][a[2]]); });
          line.setAttribute("stroke-width", (line.getAttribute("class").indexOf("edge") > 0 ? 6 : 3) / scale);
        });
      });
      handles.forEach(function (handle, n) {
        handle.style.left = 100 * point(n)[0] / size[0] + "%";
        handle.style.top = 100 * point(n)[1] / size[1] + "%";
      });
      const started = touched.palm && touched.cuff, trouble = started ? wrong(now, size, by) : "";
      bad.textContent = "";
      if (trouble) { bad.appendChild(parts.shape("not")); bad.appendChild(h("span", {}, trouble)); }
      keep.disabled = Boolean(trouble) || !started;
      const found = worked(mine.drawn.concat([now]), size, by);
      live.textContent = "";
      if (!started) live.appendChild(h("span", { class: "spread" }, "Put both lines on the hand."));
      else if (!trouble) { live.appendChild(document.createTextNode(found.shown + " ")); live.appendChild(h("span", { class: "spread" }, found.spread + " (k = 2)")); }
    }

    function settled() {
      clearTimeout(timer);
      timer = setTimeout(function () { said.textContent = touched.palm && touched.cuff && !keep.disabled ? "The lines make " + live.textContent + "." : ""; }, ASK_AFTER_MS);
    }

    // What lies under the finger, larger, in the corner that it is furthest from.
    function glassAt(n) {
      if (!size || !img.complete || !img.naturalWidth) return;
      const p = point(n), dense = window.devicePixelRatio || 1, side = GLASS_PX / (ZOOM * scale), pen = glass.getContext("2d");
      glass.hidden = false;
      glass.classList.toggle("is-right", p[0] < size[0] / 2);
      glass.width = glass.height = Math.round(GLASS_PX * dense);
      pen.setTransform(glass.width / side, 0, 0, glass.width / side, (side / 2 - p[0]) * glass.width / side, (side / 2 - p[1]) * glass.width / side);
      pen.drawImage(img, 0, 0, size[0], size[1]);
      const ink = getComputedStyle(shapes.palm[1]), rust = getComputedStyle(shapes.cuff[1]);
      [["palm", ink.stroke], ["cuff", rust.stroke]].forEach(function (pair) {
        [[5, "#fffdf7"], [2, pair[1]]].forEach(function (style) {
          pen.lineWidth = style[0] / (ZOOM * scale) * 1.6;
          pen.strokeStyle = style[1];
          pen.beginPath();
          pen.moveTo(now[pair[0]][0][0], now[pair[0]][0][1]);
          pen.lineTo(now[pair[0]][1][0], now[pair[0]][1][1]);
          pen.stroke();
        });
      });
    }

    function turnRound() {
      ["palm", "cuff"].forEach(function (name) { now[name] = now[name].map(function (p) { return [within(size[0] - p[0], size[0]), p[1]]; }); });
      draw();
      settled();
    }

    function again() {
      mine.drawn.push(now);
      now = mine.now = fresh(size);
      touched = { palm: false, cuff: false };
      draw();
      counted();
      said.textContent = "Draw them once more, without looking where they were.";
    }

    function kept() {
      mine.size = size;
      mine.drawn = mine.drawn.concat([now]);
      mine.now = null;
      mine.told = worked(mine.drawn, size, by);
      ask();
      page.back(check);
    }

    // Against the limit, as far as the bench can be reached.
    function ask() {
      handsel.measure.asked("/h/" + page.state.data.hand.code + "/measured/lines/", { method: "POST",
        headers: { Accept: "application/json", "Content-Type": "application/json", "X-CSRFToken": outbox.cookie("handsel-form") },
        body: JSON.stringify({ of: check.of, lines: { size: mine.size, drawn: mine.drawn } }) })
        .then(function (reply) { return reply.ok ? reply.json() : null; })
        .then(function (told) { if (told && t.lines === mine) { mine.told = told; handsel.measure.changed(check); } })
        .catch(function () { /* the angle is there; what it means is said with the answer */ });
    }

    const afresh = h("div", { class: "whole bar" }, parts.button("Draw them afresh", { kind: "plain", id: "lines-afresh", press: function () { if (keep.disabled) { said.textContent = "Put both lines on the hand first."; return; } again(); } }), parts.button("Turn the lines round", { kind: "plain", id: "lines-round", shape: "turn", press: turnRound }));
    const times = h("p", { class: "second" });
    function counted() {
      times.textContent = mine.drawn.length ? "Drawn " + mine.drawn.length + (mine.drawn.length > 1 ? " times" : " time") + " before; all count." : "Drawing them afresh once or twice makes them surer.";
      document.getElementById("lines-afresh") && (document.getElementById("lines-afresh").disabled = mine.drawn.length >= 7);
    }

    img.addEventListener("load", function () {
      size = mine.size || [img.naturalWidth, img.naturalHeight];
      mine.size = size;
      if (!now) now = mine.drawn.length && !mine.told ? fresh(size) : mine.told ? mine.drawn.pop() : fresh(size);
      if (mine.told) touched = { palm: true, cuff: true };
      mine.now = now;
      mine.told = null;
      svg.setAttribute("viewBox", "0 0 " + size[0] + " " + size[1]);
      stage.classList.add("is-ready");
      counted();
      draw();
    });
    img.addEventListener("error", function () { fromBench(); });
    img.src = mine.photo.url || "";
    if (!mine.photo.url) fromBench();

    // This phone cannot show its own photo: the bench can, once it is there.
    function fromBench() {
      if (img.dataset.asked) return;
      img.dataset.asked = "yes";
      said.textContent = "The photo comes from the bench in a moment…";
      let tries = 0;
      (function look() {
        handsel.measure.asked("/photos/by/" + mine.photo.id + "/").then(function (reply) { return reply.ok ? reply.json() : {}; }).catch(function () { return {}; }).then(function (told) {
          tries += 1;
          if (told.state === "ready") { said.textContent = ""; img.src = told.url; }
          else if (told.state === "refused") said.textContent = told.reason + ". " + told.do;
          else if (tries < 60) setTimeout(look, 1000);
        });
      })();
    }
    window.addEventListener("resize", function resized() { if (document.body.contains(stage)) draw(); else window.removeEventListener("resize", resized); });
    requestAnimationFrame(draw);
    foot.appendChild(keep);
    foot.appendChild(h("div", { class: "whole aside" }, parts.quiet("Back, without lines", function () { t.lines = null; page.back(check); }, { id: "no-lines" })));
    return [
      h("p", { class: "kicker" }, check.title), h("h1", { class: "question", tabindex: "-1", id: "question" }, "Draw along palm and cuff"),
      h("p", { class: "lines-how" }, h("span", { class: "lines-key is-palm", "aria-hidden": "true" }), "Solid line: along the palm’s base, wrist to fingers. ", h("span", { class: "lines-key is-cuff", "aria-hidden": "true" }), "Dashed line: along the cuff, wrist to elbow. Drag the rings; the glass shows what your thumb covers."),
      stage, live, bad, said,
      h("p", { class: "second", id: "lines-keys" }, "By keys: Tab to a ring, arrows move it, with Shift further."),
      afresh, times,
      h("p", { class: "why" }, "Two lines do not say from where the photo was taken, so they say less than two cards: look straight at the side of the hand, as high as the wrist."),
      foot,
    ];
  }

  handsel.lines = { screen: screen, worked: worked };
})();
