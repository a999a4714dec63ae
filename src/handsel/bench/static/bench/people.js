/* A button beside a passphrase that shows what is typed: six words are hard to type blind. */
(function () {
  "use strict";
  Array.prototype.forEach.call(document.querySelectorAll("input[type=password][name=words], input[data-show]"), function (field) {
    var button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    function name() { button.textContent = field.type === "password" ? "Show what I type" : "Hide what I type"; }
    button.addEventListener("click", function () {
      field.type = field.type === "password" ? "text" : "password";
      name();
      field.focus();
    });
    name();
    field.parentNode.insertBefore(button, field.nextSibling);
  });
})();
