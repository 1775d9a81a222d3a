// A picture from the camera is made small on the device and travels as text, so that it can wait for the network.
(function () {
  "use strict";
  const LONGEST = 1280, QUALITY = 0.7;

  async function small(file) {
    const image = await createImageBitmap(file);
    const share = Math.min(1, LONGEST / Math.max(image.width, image.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(image.width * share);
    canvas.height = Math.round(image.height * share);
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    return canvas.toDataURL("image/jpeg", QUALITY);
  }

  for (const input of document.querySelectorAll("input[data-photo]")) {
    const form = input.form, hidden = form.querySelector("input[name='picture']"), button = form.querySelector("button");
    const told = form.querySelector(".told");
    button.disabled = true;
    input.addEventListener("change", async () => {
      button.disabled = true;
      hidden.value = "";
      if (!input.files.length) return;
      try {
        hidden.value = await small(input.files[0]);
        told.textContent = Math.round(hidden.value.length * 0.75 / 1000) + " kB, " + say("ready to be kept");
        input.removeAttribute("name"); // the small one is sent instead
        button.disabled = false;
      } catch (e) { told.textContent = say("This is no picture that the browser can read."); }
    });
  }
})();
