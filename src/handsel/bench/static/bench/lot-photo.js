/* A photo of a bag: sent by itself as soon as it is taken; the lot keeps the id it was sent by. */
(function () {
  "use strict";
  var form = document.querySelector("[data-lot]");
  var field = form && form.querySelector("[data-photo]");
  if (!field || !window.FormData) return;
  var input = field.querySelector("input"), said = field.querySelector("[data-photo-said]");
  var kept = form.querySelector("[name=photo_client_id]"), token = form.querySelector("[name=csrfmiddlewaretoken]");
  var id = field.getAttribute("data-photo"), button = form.querySelector("[type=submit]");
  field.hidden = false;

  // Another photo is another upload: an id stands for one picture for ever.
  function nextId() {
    var bytes = new Uint8Array(16), text = "";
    window.crypto.getRandomValues(bytes);
    for (var k = 0; k < 16; k++) text += ("0" + bytes[k].toString(16)).slice(-2);
    return text;
  }

  input.addEventListener("change", function () {
    if (!input.files || !input.files[0]) return;
    var data = new FormData(), request = new XMLHttpRequest(), mine = id;
    id = nextId();
    kept.value = "";
    data.append("photo", input.files[0]);
    data.append("client_id", mine);
    said.textContent = "Sending the photo…";
    button.disabled = true;
    request.open("POST", "/photos/");
    request.setRequestHeader("X-CSRFToken", token.value);
    request.setRequestHeader("Accept", "application/json");
    request.timeout = 60000;
    request.onload = function () {
      var told = {};
      try { told = JSON.parse(request.responseText); } catch (broken) { /* said below */ }
      button.disabled = false;
      if (request.status >= 200 && request.status < 300) { kept.value = mine; said.textContent = "Photo received."; }
      else said.textContent = (told.what || "The photo was not taken.") + " " + (told.do || "Try once more.");
    };
    request.onerror = request.ontimeout = function () {
      button.disabled = false;
      said.textContent = "The photo did not arrive. Choose it once more, or type the name.";
    };
    request.send(data);
  });
})();
