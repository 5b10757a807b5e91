// Live reading of labels, where the browser has a camera and a reader for us (only in a secure context).
// Elsewhere its part of the page stays hidden and photos are sent instead.
(() => {
  "use strict";

  const kinds = ["qr_code", "ean_13", "ean_8", "upc_a"];

  const start = async (part) => {
    const button = part.querySelector("[data-live-start]");
    const video = part.querySelector("video");
    const said = part.querySelector("[role=status]");
    const known = await window.BarcodeDetector.getSupportedFormats();
    const reader = new window.BarcodeDetector({ formats: kinds.filter((kind) => known.includes(kind)) });
    let stream = null;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" }, audio: false });
    } catch {
      said.textContent = "The camera was not allowed. Take a photo instead, or type the four characters.";
      return;
    }
    const stop = () => {
      for (const track of stream.getTracks()) track.stop();
      video.srcObject = null;
      video.hidden = true;
      button.hidden = false;
    };
    window.addEventListener("pagehide", stop, { once: true });
    document.addEventListener("visibilitychange", stop, { once: true });
    button.hidden = true;
    video.hidden = false;
    video.srcObject = stream;
    await video.play();
    said.textContent = "Hold the label in the picture.";
    const look = async () => {
      if (!video.srcObject) return;
      const hits = await reader.detect(video).catch(() => []);
      if (hits.length) {
        said.textContent = "Read.";
        stop();
        window.location.assign(part.dataset.go + "?text=" + encodeURIComponent(hits[0].rawValue));
        return;
      }
      window.setTimeout(look, 150);
    };
    look();
  };

  document.addEventListener("DOMContentLoaded", async () => {
    const part = document.querySelector("[data-live]");
    if (!part || !window.isSecureContext || !("BarcodeDetector" in window) || !navigator.mediaDevices) return;
    const known = await window.BarcodeDetector.getSupportedFormats().catch(() => []);
    if (!known.includes("qr_code")) return;
    part.hidden = false;
    part.querySelector("[data-live-start]").addEventListener("click", () => start(part));
  });
})();
