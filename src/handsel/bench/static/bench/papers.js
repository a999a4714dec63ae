/* The sheet chosen for printing is the one that is kept for the day. */
(function () {
  "use strict";
  var select = document.getElementById("grid"), kept = document.querySelector("[data-grid]");
  if (select && kept) select.addEventListener("change", function () { kept.value = select.value; });
})();
