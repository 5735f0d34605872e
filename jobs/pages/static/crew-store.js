// What a phone keeps of day one until it is sent: fields, photos and the key that the server honours once. In the phone's own database.
"use strict";

const crewStore = (() => {
  const MOST_MB = 50; // a larger picture could take the page down with it while it is read
  const LONGEST_SIDE = 2048; // pixels; a label stays readable, and weak reception carries it

  const opened = new Promise((done, failed) => {
    const asked = indexedDB.open("day-one", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("parts", { keyPath: "id" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });

  const act = async (mode, work) => {
    const database = await opened;
    return new Promise((done, failed) => {
      const turn = database.transaction("parts", mode);
      const asked = work(turn.objectStore("parts"));
      turn.oncomplete = () => done(asked.result);
      turn.onerror = turn.onabort = () => failed(turn.error);
    });
  };

  // `changed` takes the part, if there is one, and gives it as it is to be; nothing to leave it, "none" to remove it.
  // A part is written by the thumb and by the sending at once: each change reads what stands and writes it in one transaction.
  const change = async (id, changed) => {
    const database = await opened;
    return new Promise((done, failed) => {
      const turn = database.transaction("parts", "readwrite");
      const parts = turn.objectStore("parts");
      let answer;
      const asked = parts.get(id);
      asked.onsuccess = () => {
        answer = changed(asked.result);
        if (answer === "none") parts.delete(id);
        else if (answer) parts.put(answer);
      };
      turn.oncomplete = () => done(answer);
      turn.onerror = turn.onabort = () => failed(turn.error);
    });
  };

  // Removes a part only if it is still the one that was sent: what was typed meanwhile has another key.
  const sent = async (id, key) => {
    const database = await opened;
    return new Promise((done, failed) => {
      const turn = database.transaction("parts", "readwrite");
      const parts = turn.objectStore("parts");
      let gone = false;
      const asked = parts.get(id);
      asked.onsuccess = () => {
        if (asked.result && asked.result.key === key) {
          gone = true;
          parts.delete(id);
        }
      };
      turn.oncomplete = () => done(gone);
      turn.onerror = turn.onabort = () => failed(turn.error);
    });
  };

  // A key made on the phone: 128 random bits, written as a UUID is.
  const newKey = () => {
    const hex = [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };

  // The picture small enough to send, upright, and without what the camera wrote beside it: drawn anew, it carries no position.
  const scaled = async (file) => {
    const mb = Math.round(file.size / 1024 / 1024);
    if (mb > MOST_MB) throw { why: "large", mb };
    let picture;
    try {
      picture = await createImageBitmap(file);
    } catch {
      throw { why: "noPicture" };
    }
    const share = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
    const sheet = document.createElement("canvas");
    sheet.width = Math.max(1, Math.round(picture.width * share));
    sheet.height = Math.max(1, Math.round(picture.height * share));
    sheet.getContext("2d").drawImage(picture, 0, 0, sheet.width, sheet.height);
    picture.close();
    const blob = await new Promise((done) => sheet.toBlob(done, "image/jpeg", 0.85));
    if (!blob) throw { why: "noPicture" };
    return { name: `${file.name.replace(/\.[^.]*$/, "") || "photo"}.jpg`, blob };
  };

  return {
    all: () => act("readonly", (parts) => parts.getAll()),
    get: (id) => act("readonly", (parts) => parts.get(id)),
    change,
    sent,
    newKey,
    scaled,
  };
})();
