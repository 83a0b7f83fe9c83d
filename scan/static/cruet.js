// Every page works without this. It only keeps a form from being sent twice by
// a wet thumb, and opens the fold that a link points into.
"use strict";
addEventListener("submit", function (event) {
  var form = event.target;
  if (form.method !== "post") return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "1";
  // An answer that never comes must not lock the form: the key makes a second
  // sending harmless.
  setTimeout(function () { delete form.dataset.sent; }, 6000);
});
addEventListener("pageshow", function () {
  document.querySelectorAll("form[data-sent]").forEach(function (form) { delete form.dataset.sent; });
});
// A link to a form of this page opens it on the spot, keypad and all, instead
// of asking the station for the page again.
addEventListener("click", function (event) {
  var link = event.target.closest && event.target.closest("a[data-open]");
  var fold = link && document.getElementById(link.dataset.open);
  if (!fold) return;
  event.preventDefault();
  fold.open = true;
  fold.scrollIntoView();
  var first = fold.querySelector("input:not([type=hidden])");
  if (first) first.focus({ preventScroll: true });
});
function openFold() {
  var at = location.hash && document.getElementById(location.hash.slice(1));
  if (at && at.tagName === "DETAILS") at.open = true;
}
addEventListener("hashchange", openFold);
openFold();
