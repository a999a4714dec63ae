/* What has been answered of the hand that is being looked at, what is left, and what an answer becomes. */
(function () {
  "use strict";
  const handsel = window.handsel = window.handsel || {};

  function State(data) {
    this.data = data;
    this.seenCount = data.seen_count;
    this.said = new Map();     // "of|place" -> {shown, status, by, own}
    this.history = [];         // what can be undone on this phone, oldest first
    this.differs = [];
    this.lastAt = performance.now();
    const state = this;
    this.checks = [];
    data.groups.forEach(function (group) {
      group.checks.forEach(function (check) {
        check.group = group;
        state.checks.push(check);
        check.left = new Set(check.due);
        check.places.forEach(function (place) {
          const known = check.state[place];
          if (known.status !== "not seen") state.said.set(check.key + "|" + place, known);
        });
      });
    });
    this.total = this.left();
  }

  State.prototype.left = function () {
    return this.checks.reduce(function (sum, check) { return sum + (check.left.size ? 1 : 0); }, 0);
  };
  State.prototype.cards = function (group) {
    return group.checks.filter(function (c) { return !c.alone && c.due.length; });
  };
  State.prototype.saidOf = function (check, place) { return this.said.get(check.key + "|" + place) || null; };

  // The gravest of what is said at all places of a check: for one line in a list.
  State.prototype.summary = function (check) {
    const state = this;
    const found = check.places.map(function (p) { return state.saidOf(check, p) || { status: "not seen", shown: "" }; });
    const worst = ["does not conform", "not seen", "undecided", "conforms", "recorded"].find(function (s) {
      return found.some(function (f) { return f.status === s; });
    }) || "not seen";
    const where = check.places.filter(function (p, k) { return p && found[k].status === worst; });
    const first = found.find(function (f) { return f.status === worst; });
    const all = where.length === check.places.length;
    return { status: worst, shown: first.shown, places: worst === "does not conform" || !all ? where : [] };
  };

  // ---- answers ----------------------------------------------------------------------------------

  State.prototype.timed = function (shownAt) {
    const now = performance.now(), step = now - this.lastAt;
    this.lastAt = now;
    return { tap_ms: Math.round(now - shownAt), step_ms: Math.round(step), seen_count: this.seenCount };
  };

  // places: those it is said of; none for the whole of it. fields: answer, value or readings, unit, method, note, photo;
  // or a list of such, where the last is what the person says: a photo's reading and the person's own are both kept.
  State.prototype.answer = function (check, places, fields, shownAt, where) {
    const state = this, timed = this.timed(shownAt), ids = [], said = [].concat(fields);
    const whole = !places.length || (check.per === "hand");
    const at = whole ? [""] : places;
    const undo = { ids: ids, where: where, before: [], checks: [[check, new Set(check.left)]] };
    at.forEach(function (place) {
      said.forEach(function (one) {
        const body = Object.assign({ kind: "observed", of: check.of, place: place, protocol: state.data.protocol }, one, timed);
        if (check.substitute) body.method = "substitute";
        const id = handsel.outbox.newId();
        ids.push(id);
        handsel.outbox.add(state.data.hand.code, Object.assign({ client_id: id }, body), state.data.me.number);
      });
      state.apply(check, whole ? check.places : [place], said[said.length - 1], undo.before);
    });
    this.history.push(undo);
  };

  State.prototype.apply = function (check, places, fields, before) {
    const state = this;
    places.forEach(function (place) {
      const key = check.key + "|" + place;
      if (before) before.push([key, state.said.get(key) || null]);
      state.said.set(key, { status: statusOf(check, fields), shown: shownOf(check, fields), own: true,
        readings: fields.readings || (fields.value === undefined ? [] : [fields.value]), method: fields.method || "" });
      check.left.delete(place);
    });
  };

  // Everything on the group's screen that was not answered by itself.
  State.prototype.asShown = function (group, shownAt, photo, where) {
    const state = this, only = [], undo = { ids: [], where: where, before: [], checks: [] };
    this.cards(group).forEach(function (check) {
      undo.checks.push([check, new Set(check.left)]);
      Array.from(check.left).forEach(function (place) {
        only.push([check.of, place]);
        const key = check.key + "|" + place;
        undo.before.push([key, state.said.get(key) || null]);
        state.said.set(key, { status: "conforms", shown: "as shown", own: true });
      });
      check.left.clear();
    });
    if (!only.length) return false;
    const id = handsel.outbox.newId();
    const body = Object.assign({ client_id: id, kind: "as-shown", group: group.id, protocol: this.data.protocol }, this.timed(shownAt));
    if (only.length !== group.coverable) body.only = only;
    if (group.photo) body.photo_asked = true;
    if (photo) body.photo = photo;
    handsel.outbox.add(this.data.hand.code, body, this.data.me.number);
    undo.ids.push(id);
    this.history.push(undo);
    return true;
  };

  State.prototype.note = function (text, photo) {
    const body = { kind: "noted", text: text };
    if (photo) body.photo = photo;
    handsel.outbox.add(this.data.hand.code, body, this.data.me.number);
  };
  State.prototype.putDown = function () {
    handsel.outbox.add(this.data.hand.code, { kind: "put-down" }, this.data.me.number);
  };

  // Takes back the last answer; says where it was given, or null when there is nothing.
  State.prototype.undo = function () {
    const last = this.history.pop(), state = this;
    if (!last) return null;
    last.before.forEach(function (pair) {
      if (pair[1]) state.said.set(pair[0], pair[1]); else state.said.delete(pair[0]);
    });
    last.checks.forEach(function (pair) { pair[0].left = pair[1]; });
    last.ids.forEach(function (id) {
      handsel.outbox.takeBack(id).then(function (taken) {
        if (!taken) handsel.outbox.add(state.data.hand.code, { kind: "withdrawn", undoes: id, seen_count: state.seenCount }, state.data.me.number);
      });
    });
    this.lastAt = performance.now();
    return last.where;
  };

  // ---- what comes from elsewhere ----------------------------------------------------------------

  // Answers that an earlier page left in the outbox count as given.
  State.prototype.fromOutbox = function (entries) {
    const state = this, undone = new Set(entries.filter(function (e) { return e.body.kind === "withdrawn"; }).map(function (e) { return e.body.undoes; }));
    entries.filter(function (e) { return e.hand === state.data.hand.code && e.state === "waiting" && !undone.has(e.client_id); }).forEach(function (e) {
      const body = e.body;
      if (body.kind === "observed") {
        state.checks.filter(function (c) { return c.of === body.of && c.substitute === (body.method === "substitute"); }).forEach(function (check) {
          state.apply(check, body.place ? [body.place] : check.places, body, null);
        });
      } else if (body.kind === "as-shown") {
        const group = state.data.groups.find(function (g) { return g.id === body.group; });
        if (group) state.cards(group).forEach(function (check) {
          Array.from(check.left).forEach(function (place) {
            if (body.only && !body.only.some(function (o) { return o[0] === check.of && o[1] === place; })) return;
            state.said.set(check.key + "|" + place, { status: "conforms", shown: "as shown", own: true });
            check.left.delete(place);
          });
        });
      }
    });
    this.total = Math.max(this.total, this.left());
  };

  // What the server says after a batch: what others answered meanwhile, and where two differ.
  State.prototype.heard = function (event) {
    const state = this;
    this.seenCount = event.reply.count;
    event.reply.others && event.reply.others.forEach(function (o) {
      state.checks.filter(function (c) { return c.of === o.of; }).forEach(function (check) {
        (o.place ? [o.place] : check.places).forEach(function (place) {
          const mine = state.saidOf(check, place);
          if (mine && mine.own) return;
          state.said.set(check.key + "|" + place, { status: o.good === false ? "does not conform" : o.good === null ? "undecided" : "conforms", shown: o.shown, by: o.by });
          if (o.good !== null || check.kind === "number") check.left.delete(place);
        });
      });
    });
    event.sent.forEach(function (s) {
      (s.result.differs || []).forEach(function (d) { state.differs.push(d); });
    });
  };

  function statusOf(check, fields) {
    if (fields.answer === "can't tell") return "undecided";
    if (fields.answer === undefined) return "recorded";
    if (check.substitute || fields.method === "substitute") return fields.answer === "yes" ? "conforms" : "does not conform";
    const found = check.answers.find(function (a) { return a.value === fields.answer; });
    return found && found.good ? "conforms" : "does not conform";
  }
  function shownOf(check, fields) {
    if (fields.answer !== undefined) return fields.answer;
    const numbers = fields.readings || [fields.value];
    return handsel.parts.withUnit(numbers.map(handsel.parts.shown).join(" · "), check.number);
  }

  handsel.State = State;
})();
