/* A page that waits for an answer asks for itself quietly, and is shown anew only when there is something new. */
(function () {
  "use strict";
  if (!window.fetch || !document.body.hasAttribute("data-waits")) return;
  function look() {
    fetch(location.href, { credentials: "same-origin" }).then(function (answer) {
      return answer.text();
    }).then(function (page) {
      if (page.indexOf("data-waits") < 0) location.reload();
      else setTimeout(look, 2000);
    }).catch(function () { setTimeout(look, 4000); });
  }
  setTimeout(look, 1500);
})();
