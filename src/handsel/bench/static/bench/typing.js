/* Typing in a paper traveller: one key answers and goes on; Enter goes on; what a ticked group stands for is passed over. */
(function () {
  "use strict";
  var form = document.querySelector("[data-typing]");
  if (!form) return;
  var boxes = Array.prototype.slice.call(form.querySelectorAll(".typing-box"));

  function passed(box) {
    if (!box.hasAttribute("data-covered") || box.value) return false;
    var part = box.closest("[data-part]"), group = part && part.querySelector("[data-group]");
    return !!group && group.value.toLowerCase() === "y";
  }

  function go(from, step) {
    var k = boxes.indexOf(from) + step;
    while (k >= 0 && k < boxes.length && step > 0 && passed(boxes[k])) k += step;
    if (k >= boxes.length) { form.querySelector("[name=decide]").focus(); return; }
    if (k < 0) return;
    boxes[k].focus();
    if (boxes[k].select) boxes[k].select();
    dim();
  }

  function dim() {
    boxes.forEach(function (box) { box.classList.toggle("is-passed", passed(box)); });
  }

  function fill(box) {
    var row = box.closest("[data-row]"), last = box;
    if (!row) return;
    Array.prototype.forEach.call(row.querySelectorAll(".typing-box"), function (other) {
      if (!other.value || other === box) other.value = "y";
      last = other;
    });
    go(last, 1);
  }

  form.addEventListener("keydown", function (event) {
    var box = event.target;
    if (boxes.indexOf(box) < 0 || event.ctrlKey || event.metaKey || event.altKey) return;
    var keys = box.getAttribute("data-keys"), key = event.key.toLowerCase();
    if (event.key === "Enter" || event.key === "ArrowDown") { event.preventDefault(); go(box, 1); return; }
    if (event.key === "ArrowUp") { event.preventDefault(); go(box, -1); return; }
    if (event.key === "Backspace" && !box.value) { event.preventDefault(); go(box, -1); return; }
    if (!keys || key.length !== 1) return;
    event.preventDefault();
    if (keys.indexOf(key) >= 0) { box.value = key; go(box, 1); }
    else if (key === "a" && keys.indexOf("y") >= 0) fill(box);
  });
  // Keyboards on phones give no keys, only what stands in the box then.
  form.addEventListener("input", function (event) {
    var box = event.target, keys = box.getAttribute && box.getAttribute("data-keys");
    if (keys && box.value) {
      box.value = box.value.toLowerCase();
      if (keys.indexOf(box.value) >= 0) go(box, 1); else box.value = "";
    }
    dim();
  });
  var wrong = form.querySelector("[aria-invalid]");
  dim();
  (wrong || boxes[0]).focus();
})();
