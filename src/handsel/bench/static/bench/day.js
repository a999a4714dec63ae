/* A board that htmx keeps fresh: says when it is stale, since an old board that looks new misleads. */
(function () {
  "use strict";
  var board = document.getElementById("board");
  if (!board) return;
  function stale(is) {
    if (is) board.setAttribute("data-stale", board.getAttribute("data-stale-words"));
    else board.removeAttribute("data-stale");
  }
  document.addEventListener("htmx:sendError", function () { stale(true); });
  document.addEventListener("htmx:timeout", function () { stale(true); });
  document.addEventListener("htmx:responseError", function () { stale(true); });
  document.addEventListener("htmx:afterOnLoad", function () { stale(false); });
  // A label being pressed is not taken away under the finger.
  var isPressed = false;
  board.addEventListener("pointerdown", function () { isPressed = true; });
  ["pointerup", "pointercancel"].forEach(function (name) {
    document.addEventListener(name, function () { setTimeout(function () { isPressed = false; }, 300); });
  });
  document.addEventListener("htmx:beforeSwap", function (event) { if (isPressed) event.detail.shouldSwap = false; });
  document.addEventListener("htmx:beforeRequest", function (event) {
    if (document.hidden && event.target === board) event.preventDefault();
  });
})();
