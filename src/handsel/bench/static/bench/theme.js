/* Remembers how light this screen should be: as the device says, day, night, or bright hall. */
(function () {
  "use strict";
  var KEY = "handsel-light", CHOICES = ["", "light", "dark", "hall"], root = document.documentElement;

  function kept() {
    try { return localStorage.getItem(KEY) || ""; } catch (refused) { return ""; }
  }
  function keep(choice) {
    try { localStorage.setItem(KEY, choice); } catch (refused) { /* a private window: valid for this page only */ }
  }
  function show(choice) {
    if (choice && CHOICES.indexOf(choice) > 0) root.setAttribute("data-theme", choice);
    else root.removeAttribute("data-theme");
  }

  var now = kept();
  show(now);

  document.addEventListener("DOMContentLoaded", function () {
    Array.prototype.forEach.call(document.querySelectorAll("[data-light]"), function (button) {
      function name() { button.textContent = button.getAttribute("data-" + (now || "device")); }
      button.hidden = false;
      name();
      button.addEventListener("click", function () {
        now = CHOICES[(CHOICES.indexOf(now) + 1) % CHOICES.length];
        keep(now);
        show(now);
        name();
      });
    });
  });
})();
