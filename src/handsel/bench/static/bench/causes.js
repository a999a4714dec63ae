// While simulated hands are being made, what is said of the causes is fetched again now and then: it gets surer.
(function () {
  "use strict";
  var box = document.getElementById("causes");
  if (!box || !window.fetch) return;
  var EVERY_MS = 6000;

  function isMaking() {
    return box.querySelector("[role=status]") !== null;
  }

  function isBusy() {  // nothing is pulled away from under a finger
    return box.querySelector("details[open]") !== null || box.contains(document.activeElement);
  }

  function again() {
    if (document.hidden || isBusy()) return later();
    fetch(box.getAttribute("data-causes"), {credentials: "same-origin"}).then(function (answer) {
      return answer.ok ? answer.text() : null;
    }).then(function (text) {
      if (text !== null && !isBusy()) box.innerHTML = text;
      later();
    }, later);
  }

  function later() {
    if (isMaking()) window.setTimeout(again, EVERY_MS);
  }

  later();
})();
