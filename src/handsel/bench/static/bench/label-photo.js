/* A label photographed instead of typed: sent as soon as it is taken, asked after until it is read, then gone on with. */
(function () {
  "use strict";
  var button = document.querySelector("[data-label-photo]"), said = document.querySelector("[data-label-said]");
  if (!button || !said || !window.FormData) return;
  var input = button.querySelector("input"), field = document.getElementById("code");
  var TYPE_IT = "Take it again, or type the six characters.", ASK_EVERY_MS = 600, LONGEST_MS = 90000;
  var mine = "";
  button.hidden = false;

  function newId() {
    var bytes = new Uint8Array(16), text = "";
    window.crypto.getRandomValues(bytes);
    for (var k = 0; k < 16; k++) text += ("0" + bytes[k].toString(16)).slice(-2);
    return text;
  }
  function say(words) { said.hidden = false; said.textContent = words; }
  function fail(what, doing) {
    mine = "";
    say(what + ". " + doing);
    field.focus();
  }
  function which(told) {
    mine = "";
    say(told.what + ". Which hand?");
    told.hands.forEach(function (hand) {
      var link = document.createElement("a");
      link.className = "big-button plain";
      link.href = hand.url;
      link.textContent = hand.code;
      said.appendChild(link);
    });
  }
  function ask(how, path, body, then, lost) {
    var request = new XMLHttpRequest();
    request.open(how, path);
    request.setRequestHeader("Accept", "application/json");
    if (body) request.setRequestHeader("X-CSRFToken", button.getAttribute("data-token"));
    request.timeout = 60000;
    request.onload = function () {
      var told = {};
      try { told = JSON.parse(request.responseText); } catch (broken) { /* said below */ }
      if (request.status >= 200 && request.status < 300) then(told);
      else fail((told.what || "The photo was not taken").replace(/\.$/, ""), told.do || TYPE_IT);
    };
    request.onerror = request.ontimeout = lost;
    request.send(body);
  }
  function askAfter(id, until) {
    if (id !== mine) return;  // another picture was taken meanwhile
    ask("GET", "/photos/label/" + id + "/", null, function (told) {
      if (id !== mine) return;
      if (told.state === "ready") { say("Opening " + told.code + "…"); location.href = told.url; }
      else if (told.state === "several") which(told);
      else if (told.state === "refused") fail(told.what, told.do);
      else again(id, until);
    }, function () { again(id, until); });
  }
  function again(id, until) {
    if (Date.now() > until) { if (id === mine) fail("It takes too long to read", "Type the six characters."); }
    else setTimeout(function () { askAfter(id, until); }, ASK_EVERY_MS);
  }

  input.addEventListener("change", function () {
    if (!input.files || !input.files[0]) return;
    var data = new FormData(), id = newId();
    mine = id;
    data.append("photo", input.files[0]);
    data.append("client_id", id);
    input.value = "";  // so that choosing the same file again is a change
    say("Sending the photo…");
    ask("POST", "/photos/label/", data, function () {
      if (id === mine) say("Reading the label…");
      askAfter(id, Date.now() + LONGEST_MS);
    }, function () { if (id === mine) fail("The photo did not arrive", TYPE_IT); });
  });
  // Back from the hand's page, which may be this page as it was left.
  window.addEventListener("pageshow", function (event) { if (event.persisted) { mine = ""; said.hidden = true; } });
})();
