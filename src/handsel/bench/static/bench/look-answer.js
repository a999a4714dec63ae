/* Waits for the answer: asks again after a moment, a little later each time, and puts what comes in place. */
(function () {
  "use strict";
  const place = document.getElementById("answer");
  if (!place || !place.hasAttribute("data-waiting")) return;
  let pause_ms = 700;

  function again() { setTimeout(look, pause_ms); pause_ms = Math.min(pause_ms * 1.25, 5000); }

  function look() {
    fetch(place.dataset.stateUrl, { credentials: "same-origin", headers: { Accept: "text/html", "HX-Request": "true" } }).then(function (reply) {
      if (reply.headers.get("HX-Redirect")) { location.assign(reply.headers.get("HX-Redirect")); return null; }
      if (!reply.ok) throw new Error("not now");
      const waits = reply.headers.get("X-Answer") === "waiting";
      return reply.text().then(function (html) {
        const same = waits && document.getElementById("answer-head") && html.indexOf(">" + document.getElementById("answer-head").textContent + "<") >= 0;
        if (!same) {
          place.innerHTML = html;
          const head = place.querySelector("h1");
          if (head) { head.setAttribute("tabindex", "-1"); head.focus({ preventScroll: true }); }
        }
        if (waits) again(); else place.removeAttribute("data-waiting");
      });
    }).catch(again);
  }
  again();
})();
