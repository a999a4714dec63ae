/* Answers on their way. Kept on the phone first, sent in order, each exactly once: the server knows an answer
   by its id and stores it once, and it leaves the phone only when the server has said what became of it.
   Runs on every page of the bench, so that whatever was left is sent wherever one goes next. */
(function () {
  "use strict";
  const BATCH = 40, PAUSES_S = [1, 2, 4, 8, 15, 30], TIMEOUT_MS = 20000, PHOTO_TIMEOUT_MS = 120000;
  const handsel = window.handsel = window.handsel || {};
  const told = [];
  let store = null, entries = [], photos = [], sending = false, again = false, tries = 0, timer = 0;
  let trouble = null, leaving = false, me = Number(document.currentScript.dataset.person) || null;
  const loose = new Set();  // not kept yet, or no room to keep them: they live as long as this page
  const keeping = new Map(); // ids being written down just now
  const gone = new Set();   // ids that left this phone; the store may be a moment behind

  // ---- ids, cookies, people ---------------------------------------------------------------------

  function newId() {
    const bytes = new Uint8Array(16);
    crypto.getRandomValues(bytes);  // randomUUID is missing where the address is plain HTTP
    return Array.from(bytes, function (b) { return b.toString(16).padStart(2, "0"); }).join("");
  }

  function cookie(name) {
    const found = document.cookie.split("; ").find(function (c) { return c.indexOf(name + "=") === 0; });
    return found ? decodeURIComponent(found.slice(name.length + 1)) : "";
  }

  async function renew() {
    const reply = await fetched("/answers/who/", { headers: { Accept: "application/json" } }, TIMEOUT_MS);
    const data = await reply.json();
    me = data.person ? data.person.number : null;
    return me;
  }

  function fetched(url, options, ms) {
    const stop = new AbortController(), clock = setTimeout(function () { stop.abort(); }, ms);
    return fetch(url, Object.assign({ credentials: "same-origin", signal: stop.signal, redirect: "manual" }, options))
      .finally(function () { clearTimeout(clock); });
  }

  // ---- what waits -------------------------------------------------------------------------------

  function waiting() { return entries.filter(function (e) { return e.state === "waiting"; }); }
  function photosWaiting() { return photos.filter(function (p) { return p.state === "waiting"; }); }
  function attention() {
    return entries.concat(photos).filter(function (e) { return e.state === "refused" || e.state === "conflict"; });
  }
  function tell(event) { told.forEach(function (hear) { hear(event); }); }

  async function reload() {
    const kept = (await store.entries()).filter(function (e) { return !gone.has(e.client_id); });
    const ids = new Set(kept.map(function (e) { return e.client_id; }));
    const others = Array.from(loose).filter(function (e) { return !e.blob && !ids.has(e.client_id); });
    entries = kept.sort(function (a, b) { return a.n - b.n; }).concat(others);
    const pictures = (await store.photos()).filter(function (p) { return p.blob && !gone.has(p.client_id); });
    const have = new Set(pictures.map(function (p) { return p.client_id; }));
    photos = pictures.concat(Array.from(loose).filter(function (p) { return p.blob && !have.has(p.client_id); }));
  }

  async function kept(entry) {
    try { entry.n = await store.put(entry); loose.delete(entry); }
    catch (full) { loose.add(entry); setTrouble("This phone has no room to keep answers.", "Keep this page open until the count is gone."); }
    return entry;
  }

  // ---- sending ----------------------------------------------------------------------------------

  function setTrouble(words, what, link) {
    trouble = words ? { words: words, what: what || "", link: link || "" } : null;
    tell({ type: "trouble", trouble: trouble });
  }

  async function flush() {
    if (!store) return;
    if (sending) { again = true; return; }
    sending = true;
    clearTimeout(timer);
    try {
      do {
        again = false;
        await reload();
        if (me === null && waiting().length + photosWaiting().length && (await renew()) === null) return askSignIn();
        if (!(await sendAll())) return later();
      } while (again);
      tries = 0;
      setTrouble("");
    } catch (noNetwork) {
      setTrouble("No connection to the bench.", "Answers stay on this phone and go out by themselves.");
      later();
    } finally {
      sending = false;
      show();
      tell({ type: "change" });
    }
  }

  function askSignIn() {
    setTrouble("You are not signed in on this phone.", "Sign in: your answers are kept and go on from there.",
      "/sign-in/?next=" + encodeURIComponent(location.pathname));
  }

  function later() {
    const left = waiting().length + photosWaiting().length;
    if (!left || (trouble && trouble.link)) return;  // who must sign in comes back by a new page
    const pause = PAUSES_S[Math.min(tries, PAUSES_S.length - 1)] * (0.8 + 0.4 * Math.random());
    tries += 1;
    timer = setTimeout(flush, pause * 1000);
  }

  // True when nothing is left that could be sent now.
  async function sendAll() {
    let batch;
    while ((batch = nextBatch()).length) {
      if (!(await sendBatch(batch))) return false;
    }
    // Somebody waits for what is read from a photo; nobody for one that is only kept.
    const pictures = photosWaiting().filter(mine).sort(function (a, b) { return (b.wish ? 1 : 0) - (a.wish ? 1 : 0); });
    for (const photo of pictures) {
      if (!(await sendPhoto(photo))) return false;
    }
    return true;
  }

  function mine(e) { return me !== null && e.by === me; }

  function nextBatch() {
    const own = waiting().filter(mine).filter(function (e) { return !keeping.has(e.client_id); });
    return own.filter(function (e) { return e.hand === own[0].hand; }).slice(0, BATCH);
  }

  async function sendBatch(batch) {
    const fresh = batch.filter(function (e) { return !e.tried; });
    fresh.forEach(function (e) { e.tried = true; });  // from here on the server may know them
    for (const e of fresh) await kept(e);
    const reply = await posted(batch);
    if (reply.status === 200) return settle(batch, await reply.json());
    if (reply.status === 403 && !batch.renewed) {
      if ((await renew()) === null) { askSignIn(); return false; }
      batch = batch.filter(mine);  // the form cookie was from before a sign-in, or it is another person by now
      batch.renewed = true;
      return batch.length ? sendBatch(batch) : true;
    }
    const said = await words(reply);
    if (reply.status === 413 || reply.status === 400) {
      if (batch.length > 1) return (await sendBatch(batch.slice(0, Math.ceil(batch.length / 2)))) !== false;
      return refuse(batch[0], said);
    }
    if (reply.status === 404 || reply.status === 409) {
      for (const e of batch) await refuse(e, said);
      return true;
    }
    return hold(reply, said);
  }

  function posted(batch) {
    return fetched("/h/" + batch[0].hand + "/answers/", {
      method: "POST",
      headers: { Accept: "application/json", "Content-Type": "application/json", "X-CSRFToken": cookie("handsel-form") },
      body: JSON.stringify({ entries: batch.map(function (e) { return Object.assign({}, e.body, { client_id: e.client_id, by: e.by }); }) }),
    }, TIMEOUT_MS);
  }

  // Not taken now, and not the answers' fault: say so, keep all.
  function hold(reply, said) {
    if (reply.status === 401 || reply.type === "opaqueredirect") {
      me = null;
      askSignIn();
    } else if (reply.status === 403) {
      setTrouble(said.what, said.do);
    } else if (reply.status === 507) {
      setTrouble("The lead's laptop has no room left.", "Tell the lead. Answers stay on this phone until there is.");
    } else if (reply.status === 503 || reply.status === 429) {
      setTrouble("The bench is busy.", "Answers stay on this phone and go out by themselves.");
    } else {
      setTrouble(said.what || "The bench made a mistake.", "Answers stay on this phone. Tell the lead if it goes on.");
    }
    return false;
  }

  async function words(reply) {
    try { return await reply.json(); } catch (noWords) { return { what: "The bench did not take this.", do: "Tell the lead." }; }
  }

  async function settle(batch, reply) {
    const became = new Map(reply.results.map(function (r) { return [r.id, r]; }));
    const sent = [];
    let someone = false;
    for (const e of batch) {
      const r = became.get(e.client_id);
      if (!r) return hold({ status: 500 }, { what: "The bench answered for other answers than were sent." });
      if (r.state === "stored" || r.state === "same") { await drop(e); sent.push({ entry: e, result: r }); }
      else if (r.state === "other person") { someone = true; await set(e, "waiting", r); }
      else await set(e, r.state, r);
    }
    show();
    tell({ type: "sent", hand: batch[0].hand, sent: sent, reply: reply });
    if (someone) await renew();
    return true;
  }

  async function drop(e) {
    gone.add(e.client_id);
    loose.delete(e);
    entries = entries.filter(function (x) { return x.client_id !== e.client_id; });
    if (e.n) await store.drop(e.n);
  }

  async function set(e, state, r) {
    e.state = state;
    e.told = { what: r.what || "", do: r.do || "", stored: r.stored || null };
    await kept(e);
  }

  async function refuse(e, said) {
    await set(e, "refused", said);
    return true;
  }

  async function sendPhoto(photo) {
    const form = new FormData();
    form.append("client_id", photo.client_id);
    form.append("hand", photo.hand);
    Object.keys(photo.wish || {}).forEach(function (name) { form.append(name, photo.wish[name]); });
    form.append("photo", photo.blob, photo.name || "photo.jpg");
    const reply = await fetched("/photos/", {
      method: "POST", headers: { Accept: "application/json", "X-CSRFToken": cookie("handsel-form") }, body: form,
    }, PHOTO_TIMEOUT_MS);
    if (reply.ok) {
      await dropPhoto(photo);
      tell({ type: "photo", photo: photo.client_id });
      return true;
    }
    if (reply.status === 403 && !photo.renewed) {
      photo.renewed = true;
      if ((await renew()) === null) { askSignIn(); return false; }
      return mine(photo) ? sendPhoto(photo) : true;
    }
    const said = await words(reply);
    if ([400, 404, 409, 413, 415, 422].indexOf(reply.status) >= 0) {
      photo.state = "refused";
      photo.told = said;
      await store.putPhoto(photo);
      tell({ type: "photo", photo: photo.client_id, refused: said });
      return true;
    }
    return hold(reply, said);
  }

  async function dropPhoto(photo) {
    gone.add(photo.client_id);
    loose.delete(photo);
    photos = photos.filter(function (p) { return p.client_id !== photo.client_id; });
    await store.dropPhoto(photo.client_id);
  }

  // ---- what pages call --------------------------------------------------------------------------

  async function add(hand, body, by) {
    await ready;
    const entry = { client_id: body.client_id || newId(), hand: hand, by: by || me, body: body, state: "waiting", tried: false };
    delete body.client_id;
    entries.push(entry);  // counted at once, kept a moment later
    loose.add(entry);
    show();
    const writing = kept(entry);
    keeping.set(entry.client_id, writing);
    await writing;
    keeping.delete(entry.client_id);
    flush();
    return entry.client_id;
  }

  // wish: what it is to be measured for, as the bench takes it; none for a picture that is only kept.
  async function addPhoto(hand, file, by, wish) {
    await ready;
    const photo = { client_id: newId(), hand: hand, by: by || me, blob: file, name: file.name, state: "waiting", wish: wish || null };
    photos.push(photo);
    loose.add(photo);
    show();
    try { await store.putPhoto(photo); if (store.kind === "database") loose.delete(photo); }
    catch (noRoom) { setTrouble("This phone has no room to keep the photo.", "Keep this page open until it is sent."); }
    flush();
    return photo.client_id;
  }

  // Takes back what the server has never been offered. False: it may know it by now, so a withdrawal is needed.
  async function takeBack(clientId) {
    await ready;
    await keeping.get(clientId);
    const e = entries.find(function (x) { return x.client_id === clientId; });
    if (!e || e.tried) return false;
    await drop(e);
    show();
    return true;
  }

  async function forget(item) {
    if (item.blob) await dropPhoto(item); else await drop(item);
    show();
    tell({ type: "change" });
  }

  async function change(item) {
    item.told = null;
    if (item.blob) await store.putPhoto(item); else await kept(item);
    show();
    flush();
  }

  // ---- the count in the head --------------------------------------------------------------------

  function show() {
    const place = document.querySelector("[data-unsent]");
    if (!place) return;
    const left = waiting().length + photosWaiting().length, look = attention().length;
    const parts = [];
    if (left) parts.push(left + " unsent");
    if (look) parts.push(look + " not taken");
    const text = parts.join(", ");
    if (place.textContent === text) return;
    place.textContent = "";
    if (!text) return;
    const link = document.createElement("a");
    link.href = "/unsent/";
    link.textContent = text;
    link.addEventListener("click", function () { leaving = store.kind === "database"; });
    place.appendChild(link);
  }

  window.addEventListener("beforeunload", function (event) {
    if (leaving || !(waiting().length + photosWaiting().length)) return undefined;
    if (!document.body.hasAttribute("data-warns") && store && store.kind === "database") return undefined;
    event.preventDefault();
    event.returnValue = "Some answers are not yet sent. They stay on this phone.";
    return event.returnValue;
  });
  window.addEventListener("online", function () { tries = 0; flush(); });
  document.addEventListener("visibilitychange", function () { if (!document.hidden && waiting().length) flush(); });

  const ready = (async function () {
    store = await window.handselStore.open();
    await reload();
    show();
  })();

  handsel.outbox = {
    ready: ready, add: add, addPhoto: addPhoto, takeBack: takeBack, forget: forget, change: change, flush: flush, newId: newId,
    entries: function () { return entries.slice(); },
    photos: function () { return photos.slice(); },
    unsentOf: function (hand) { return waiting().filter(function (e) { return e.hand === hand; }).length; },
    person: function () { return me; },
    trouble: function () { return trouble; },
    kind: function () { return store ? store.kind : ""; },
    hear: function (fn) { told.push(fn); },
    cookie: cookie,
    leave: function () { leaving = true; },
  };
  ready.then(function () {
    tell({ type: "change" });
    if (!(waiting().length + photosWaiting().length)) return;
    flush();
  });
})();
