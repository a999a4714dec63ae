/* Ticks at steps stay on this phone, so that a page that was left is found again as it was. Nothing is sent. */
(function () {
  "use strict";
  var lists = document.querySelectorAll("[data-ticks]");
  Array.prototype.forEach.call(lists, function (list) {
    var key = "handsel ticks " + list.getAttribute("data-ticks");
    var boxes = list.querySelectorAll("input[type=checkbox]");
    var kept = read(key);
    Array.prototype.forEach.call(boxes, function (box) {
      if (kept.indexOf(box.value) >= 0) { box.checked = true; }
    });
    next(list, boxes);
    list.addEventListener("change", function () {
      var ticked = [];
      Array.prototype.forEach.call(boxes, function (box) { if (box.checked) { ticked.push(box.value); } });
      try { localStorage.setItem(key, JSON.stringify(ticked)); } catch (full) { /* then only this page knows */ }
      next(list, boxes);
    });
  });

  function read(key) {
    try { return JSON.parse(localStorage.getItem(key)) || []; } catch (nothing) { return []; }
  }

  /* The first step without a tick stands out. */
  function next(list, boxes) {
    var found = false;
    Array.prototype.forEach.call(boxes, function (box) {
      var line = box.closest("li");
      if (!line) { return; }
      line.classList.toggle("is-next", !box.checked && !found);
      if (!box.checked) { found = true; }
    });
  }
})();
