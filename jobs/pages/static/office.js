// A pressed button says so and cannot be pressed twice. The page works the same without this.
"use strict";

document.addEventListener("submit", (event) => {
  const form = event.target;
  const button = event.submitter;
  if (form.method !== "post" || !(button instanceof HTMLButtonElement) || button.dataset.busy === "") return;
  // Only after the browser has gathered the fields: a disabled button's own value would not be sent.
  setTimeout(() => {
    button.dataset.words = button.textContent;
    button.textContent = button.dataset.busy || "Recording ...";
    button.disabled = true;
  });
});

// Back to a page that the browser kept: its button must be pressable again.
window.addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  for (const button of document.querySelectorAll("button[data-words]")) {
    button.textContent = button.dataset.words;
    button.disabled = false;
    delete button.dataset.words;
  }
});

// A running time: counted here from what the server said, so that a wrong clock on the desk changes nothing. Not announced.
for (const text of document.querySelectorAll("[data-running]")) {
  const begun = performance.now() - Number(text.dataset.running) * 1000;
  setInterval(() => {
    const seconds = Math.floor((performance.now() - begun) / 1000);
    text.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
  }, 1000);
}

// Taps at a meter's pulses: a button writes the seconds since the first tap into the field. Without this they are typed.
const tappable = (field) => {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = field.dataset.taps;
  let first = null;
  const told = document.createElement("p");
  told.className = "hint";
  told.setAttribute("role", "status");
  const words = field.dataset.tapped || "{taps} taps, {seconds} s. Empty the field to begin again.";
  // By the event's own clock, and on the press, not its end: a page that is busy must not make the thumb look late.
  button.addEventListener("pointerdown", (event) => tap(event.timeStamp));
  button.addEventListener("keydown", (event) => {
    if (!event.repeat && (event.key === "Enter" || event.key === " ")) tap(event.timeStamp);
  });
  const tap = (at) => {
    if (first === null || !field.value.trim()) {
      first = at;
      field.value = "";
    }
    const seconds = ((at - first) / 1000).toFixed(2);
    field.value = field.value ? `${field.value}, ${seconds}` : seconds;
    told.textContent = words.replace("{taps}", field.value.split(",").length).replace("{seconds}", seconds);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  field.after(button, told);
};
document.querySelectorAll("input[data-taps]").forEach(tappable);
// A part of a page that was put in later.
document.addEventListener("put-in", (event) => event.target.querySelectorAll("input[data-taps]").forEach(tappable));

// Who signs out leaves no page of a home behind on the phone. What was filled in and not sent stays, for its own person only.
for (const form of document.querySelectorAll('form[action="/sign-out/"]')) {
  form.addEventListener("submit", () => window.caches && caches.delete("crew-pages"));
}
