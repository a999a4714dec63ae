// The plan follows the day: the page asks now and then whether anything has changed, and shows the new plan.
(function () {
  "use strict";
  var box = document.getElementById("plan");
  if (!box || !window.fetch) return;
  var SOON_MS = 3000, LATER_MS = 20000, shown = "";

  function isBusy() {
    return document.hidden || box.querySelector("details[open]") !== null || box.contains(document.activeElement);
  }

  function ask() {
    if (document.hidden) return window.setTimeout(ask, LATER_MS);
    fetch(box.getAttribute("data-again"), {
      method: "POST", credentials: "same-origin",
      headers: {"Accept": "application/json", "X-CSRFToken": box.getAttribute("data-token")}
    }).then(function (answer) {
      return answer.ok ? answer.json() : null;
    }).then(function (told) {
      if (told === null) return window.setTimeout(ask, LATER_MS);
      var now = told.plan + "/" + told.more + "/" + told.planning;
      if (shown !== "" && now !== shown && !isBusy()) show(now);
      else if (shown === "" || now === shown) shown = now;
      window.setTimeout(ask, told.planning || !told.more ? SOON_MS : LATER_MS);
    }, function () { window.setTimeout(ask, LATER_MS); });
  }

  function show(now) {
    fetch(box.getAttribute("data-live"), {credentials: "same-origin"}).then(function (answer) {
      return answer.ok ? answer.text() : null;
    }).then(function (text) {
      if (text !== null && !isBusy()) { box.innerHTML = text; shown = now; }
    });
  }

  ask();
})();
