/* Pages: photoform
   A phone's picture is made small before it is sent, so that weak Wi-Fi carries
   it; turned upright, too, and rid of its metadata already here. Whatever fails,
   the picture goes as it is, and the station does all of this. */
"use strict";
(function () {
  var longest = 1600, read = /^image\/(jpeg|png|webp|gif)$/, form = document.querySelector("form.camera");
  if (!form || !window.createImageBitmap || !window.DataTransfer) return;
  function shrunk(file) {
    return createImageBitmap(file, { imageOrientation: "from-image" }).then(function (picture) {
      var scale = longest / Math.max(picture.width, picture.height);
      if (scale >= 1 && read.test(file.type)) return null;
      scale = Math.min(scale, 1);
      var canvas = document.createElement("canvas");
      canvas.width = Math.round(picture.width * scale);
      canvas.height = Math.round(picture.height * scale);
      var draw = canvas.getContext("2d");
      draw.fillStyle = "#fff";
      draw.fillRect(0, 0, canvas.width, canvas.height);
      draw.imageSmoothingQuality = "high";
      draw.drawImage(picture, 0, 0, canvas.width, canvas.height);
      picture.close();
      return new Promise(function (done) { canvas.toBlob(done, "image/jpeg", 0.92); });
    });
  }
  form.addEventListener("change", function (event) {
    var box = event.target, file = box.files && box.files[0];
    if (!file || file.name === "small.jpg") return;
    shrunk(file).then(function (small) {
      // What the station cannot read, and this browser can, goes as JPEG in any size.
      if (!small || box.files[0] !== file || (small.size >= file.size && read.test(file.type))) return;
      var kept = new DataTransfer();
      kept.items.add(new File([small], "small.jpg", { type: "image/jpeg" }));
      box.files = kept.files;
    }).catch(function () {});
  });
})();
