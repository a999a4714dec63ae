/* Where answers wait on this phone: IndexedDB, else localStorage, else only this page's memory (and that is
   said). An entry has a number, and they are sent in its order; photos lie beside them. */
(function () {
  "use strict";
  const NAME = "handsel-outbox", WAIT_MS = 4000;

  function done(request) {
    return new Promise(function (resolve, reject) {
      request.onsuccess = function () { resolve(request.result); };
      request.onerror = function () { reject(request.error); };
    });
  }

  function openDatabase() {
    return new Promise(function (resolve, reject) {
      const timer = setTimeout(function () { reject(new Error("no answer")); }, WAIT_MS);
      const request = indexedDB.open(NAME, 1);
      request.onupgradeneeded = function () {
        request.result.createObjectStore("entries", { keyPath: "n", autoIncrement: true });
        request.result.createObjectStore("photos", { keyPath: "client_id" });
      };
      request.onsuccess = function () { clearTimeout(timer); resolve(request.result); };
      request.onerror = function () { clearTimeout(timer); reject(request.error); };
      request.onblocked = function () { clearTimeout(timer); reject(new Error("blocked")); };
    });
  }

  function inDatabase(db) {
    // Resolved when the transaction is complete, not before: "kept" must mean on the disk.
    function write(name, action) {
      return new Promise(function (resolve, reject) {
        let tx;
        try { tx = db.transaction(name, "readwrite", { durability: "strict" }); }
        catch (unknownOption) { tx = db.transaction(name, "readwrite"); }
        const request = action(tx.objectStore(name));
        tx.oncomplete = function () { resolve(request.result); };
        tx.onerror = tx.onabort = function () { reject(tx.error || new Error("not kept")); };
      });
    }
    function all(name) { return done(db.transaction(name, "readonly").objectStore(name).getAll()); }
    return {
      kind: "database",
      entries: function () { return all("entries"); },
      put: function (entry) { return write("entries", function (s) { return s.put(entry); }); },
      drop: function (n) { return write("entries", function (s) { return s.delete(n); }); },
      photos: function () { return all("photos"); },
      putPhoto: function (photo) { return write("photos", function (s) { return s.put(photo); }); },
      dropPhoto: function (id) { return write("photos", function (s) { return s.delete(id); }); },
    };
  }

  // Text only; photos stay in memory, and whoever takes one is told.
  function inList(read, save, kind) {
    const photos = new Map();
    function changed(change) {
      return new Promise(function (resolve) { const list = read(); const result = change(list); save(list); resolve(result); });
    }
    return {
      kind: kind,
      entries: function () { return Promise.resolve(read()); },
      put: function (entry) {
        return changed(function (list) {
          if (!entry.n) entry.n = list.reduce(function (most, e) { return Math.max(most, e.n); }, Date.now()) + 1;
          const at = list.findIndex(function (e) { return e.n === entry.n; });
          if (at < 0) list.push(entry); else list[at] = entry;
          return entry.n;
        });
      },
      drop: function (n) {
        return changed(function (list) {
          const at = list.findIndex(function (e) { return e.n === n; });
          if (at >= 0) list.splice(at, 1);
        });
      },
      photos: function () { return Promise.resolve(Array.from(photos.values())); },
      putPhoto: function (photo) { photos.set(photo.client_id, photo); return Promise.resolve(); },
      dropPhoto: function (id) { photos.delete(id); return Promise.resolve(); },
    };
  }

  function readLocal() { return JSON.parse(localStorage.getItem(NAME) || "[]"); }
  function saveLocal(list) { localStorage.setItem(NAME, JSON.stringify(list)); }

  function inLocalStorage() {
    saveLocal(readLocal());  // throws where nothing may be kept
    return inList(readLocal, saveLocal, "local");
  }

  function inMemory() {
    let list = [];
    return inList(function () { return list.slice(); }, function (changed) { list = changed; }, "memory");
  }

  async function tried(db) {
    const store = inDatabase(db);
    await store.putPhoto({ client_id: "a-try" });  // a private window opens a database and then refuses to write
    await store.dropPhoto("a-try");
    return store;
  }

  // What an earlier page had to put into localStorage is taken over once the database works again.
  async function takenOver(store) {
    let left = [];
    try { left = readLocal(); } catch (refused) { return store; }
    for (const entry of left) {
      delete entry.n;
      await store.put(entry);
    }
    if (left.length) saveLocal([]);
    return store;
  }

  window.handselStore = {
    open: async function () {
      try { return await takenOver(await tried(await openDatabase())); } catch (noDatabase) { /* the next best */ }
      try { return inLocalStorage(); } catch (nothingKept) { return inMemory(); }
    },
  };
})();
