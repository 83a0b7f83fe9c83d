/* Pages: pour */
// When the phone turns to its camera in the middle of an act, what was typed so
// far is kept, so that the second scan comes back to all of it. Without this,
// the button "Scan its label" does the same.
"use strict";
(function () {
  var form = document.querySelector("form.entry");
  var sent = false, touched = false;
  if (!form || !navigator.sendBeacon) return;
  form.addEventListener("input", function () { touched = true; });
  form.addEventListener("submit", function () { sent = true; });
  addEventListener("pageshow", function () { sent = false; });
  document.addEventListener("visibilitychange", function () {
    if (document.visibilityState !== "hidden" || sent || !touched) return;
    var typed = new URLSearchParams(new FormData(form));
    typed.set("keep", "1");
    navigator.sendBeacon(form.action, typed);
  });
})();
