// The crew's long form: everything filled in is kept on the phone at once, and sent part by part when there is reception.
"use strict";

(() => {
  const crew = document.getElementById("crew");
  if (!crew || !window.indexedDB) return;
  const words = crew.dataset;
  const user = words.user;
  const told = document.getElementById("told");
  const RETRY_S = 20;
  const LONGEST_S = 90; // one part with its photo over weak reception
  let trouble = ""; // what the last try met

  // Pages of homes on this phone belong to whoever was signed in when they were kept.
  if (localStorage.getItem("crew-user") !== user) {
    if (window.caches) caches.delete("crew-pages");
    localStorage.setItem("crew-user", user);
  }

  // Until a form shows what the phone kept of it nothing can be typed into it: the two would be mixed up.
  for (const form of document.querySelectorAll("form[data-part]")) form.inert = true;
  let keeping = false; // whether this phone keeps anything; a private window may not

  const forms = () => [...document.querySelectorAll("form[data-part]")];
  const hidden = (field) => field.type === "hidden" || field.type === "file" || !field.name;
  const idOf = (form, photo) => [user, new URL(form.action).pathname, ...(photo ? [photo] : [])].join(" ");
  const say = (form, sentence) => {
    form.querySelector(".kept").textContent = sentence;
  };

  // What became of a photo, under its own field: the form's line may lie a screen below, and the field itself shows no file any more.
  const sayAt = (field, sentence) => {
    let line = field.parentElement.querySelector(".of-photo");
    if (!line) {
      line = Object.assign(document.createElement("p"), { className: "of-photo" });
      line.setAttribute("role", "status");
      field.after(line);
    }
    line.textContent = sentence;
  };

  const today = () => {
    const parts = new Intl.DateTimeFormat("en-US", { timeZone: words.zone, day: "numeric", month: "short", year: "numeric" }).formatToParts();
    const part = (type) => parts.find((one) => one.type === type).value;
    return `${part("day")} ${part("month").replace(".", "")} ${part("year")}`;
  };

  const typed = (form) => [...new FormData(form)].filter(([name, value]) => typeof value === "string" && !["csrfmiddlewaretoken", "key", "seen"].includes(name));

  // One change of a part after the other, in the order in which they were made.
  let turn = Promise.resolve();
  const inTurn = (work) => {
    turn = turn.then(work).catch((fault) => {
      told.textContent = fault && fault.name === "QuotaExceededError" ? words.full : words.fault;
    });
    return turn;
  };

  const untouched = (form) =>
    [...form.elements].every((field) => {
      if (hidden(field) || field.name === "on") return true;
      if (field.type === "radio" || field.type === "checkbox") return field.checked === field.defaultChecked;
      if (field.tagName === "SELECT") return [...field.options].every((one, place) => one.selected === (one.defaultSelected || (place === 0 && !field.querySelector("[selected]"))));
      return field.value === field.defaultValue;
    });

  const keep = (form, { photo, file, ready } = {}) => {
    // Read now: by its turn the form may have changed again, or been put aside.
    const fields = typed(form);
    const seen = form.elements.namedItem("seen").value;
    const order = forms().indexOf(form);
    const id = idOf(form, form.hasAttribute("data-each") ? photo : "");
    const emptied = untouched(form) && !file && !ready;
    return inTurn(async () => {
      const part = await crewStore.change(id, (before) => {
        if (emptied && !(before && Object.keys(before.files).length)) return "none"; // typed and taken away again
        const now = before || { id, user, action: form.getAttribute("action"), part: form.dataset.part, order, seen, key: crewStore.newKey(), files: {} };
        // After a try whose end is not known, other contents are another sending: the server must not take them for the first.
        if (now.tried) Object.assign(now, { key: crewStore.newKey(), tried: false });
        if (file) now.files[photo] = file;
        return Object.assign(now, { fields, ready: Boolean(ready), refused: "", at: new Date().toISOString() });
      });
      shown(form, part === "none" ? null : part);
    });
  };

  const shown = (form, part) => {
    say(form, part ? (part.refused ? words[part.refused] : part.ready ? words.ready : words.kept) : "");
    for (const field of form.querySelectorAll("[type=file]")) {
      const file = part && part.files[field.name];
      if (file) sayAt(field, words.photo.replace("{name}", file.name));
      else if (!part) sayAt(field, "");
    }
  };

  const fill = (form, part) => {
    const values = new Map();
    for (const [name, value] of part.fields) values.set(name, [...(values.get(name) || []), value]);
    for (const field of form.elements) {
      if (hidden(field)) continue;
      const given = values.get(field.name) || [];
      if (field.type === "radio" || field.type === "checkbox") field.checked = given.includes(field.value);
      else if (field.tagName !== "BUTTON") field.value = given.shift() ?? "";
      const fold = field.closest("details");
      if (fold && field.value && field.name !== "on" && (field.checked || !["radio", "checkbox"].includes(field.type))) fold.open = true;
    }
  };

  // Puts back into a form what the phone kept of it.
  const restore = async (form) => {
    if (form.hasAttribute("data-each")) {
      form.querySelector(".all-photos").hidden = true;
      const mine = (await crewStore.all()).filter((one) => one.user === user && one.id.startsWith(`${idOf(form)} `));
      say(form, mine.map((one) => `${one.refused ? words[one.refused] : words.ready} ${Object.values(one.files)[0].name}`).join(" "));
      return;
    }
    const part = await crewStore.get(idOf(form));
    const day = form.elements.namedItem("on");
    // A page kept since yesterday still shows yesterday.
    if (day && !part && words.zone) day.value = day.defaultValue && form.querySelector(".wrong") ? day.value : today();
    if (!part) return;
    fill(form, part);
    shown(form, part);
  };

  // Nothing is pressed for keeping: a letter typed is a letter kept.
  document.addEventListener("input", (event) => {
    const form = event.target.closest("form[data-part]");
    if (keeping && form && event.target.type !== "file" && !form.hasAttribute("data-each")) keep(form).then(tell);
  });

  document.addEventListener("change", async (event) => {
    const field = event.target;
    const form = field.closest("form[data-part]");
    if (!keeping || !form || field.type !== "file" || !field.files.length) return;
    const file = field.files[0];
    try {
      const photo = await crewStore.scaled(file);
      field.value = ""; // what is sent is the small one
      const alone = form.hasAttribute("data-each");
      await keep(form, { photo: field.name, file: photo, ready: alone });
      if (alone) await restore(form).then(send);
    } catch (fault) {
      field.value = "";
      sayAt(field, (words[fault.why] || words.noPicture).replace("{name}", file.name).replace("{mb}", fault.mb));
    }
    tell();
  });

  // Before the page's own listener for pressed buttons, which would disable this one until the next page.
  document.addEventListener(
    "submit",
    (event) => {
      const form = event.target.closest("form[data-part]");
      if (!keeping || !form) return;
      event.preventDefault();
      event.stopImmediatePropagation();
      keep(form, { ready: true }).then(send);
    },
    { capture: true },
  );

  document.getElementById("send").addEventListener("click", async () => {
    await turn;
    for (const part of await mine()) await crewStore.change(part.id, (now) => now && (now.refused === "refused" ? null : Object.assign(now, { ready: true, refused: "" })));
    await send();
  });

  const mine = async () => (await crewStore.all()).filter((part) => part.user === user).sort((one, other) => one.order - other.order);

  const tell = async () => {
    const left = await mine();
    document.getElementById("bar").hidden = false;
    document.getElementById("send").hidden = !left.length;
    told.textContent = [left.length ? words.count.replace("{n}", left.length) : words.none, left.length ? trouble : ""].join(" ").trim();
    if (left.length && trouble === words.out && !told.querySelector("a")) {
      const way = document.createElement("a");
      way.href = `${words.signIn}?next=${encodeURIComponent(location.pathname + location.search)}`;
      way.textContent = words.lang === "es" ? "Entrar" : "Sign in";
      told.append(" ", way);
    }
  };

  const within = async (seconds, url, options) => {
    const stop = new AbortController();
    const clock = setTimeout(() => stop.abort(), seconds * 1000);
    try {
      const answer = await fetch(url, { redirect: "manual", cache: "no-store", credentials: "same-origin", signal: stop.signal, ...options });
      return { answer, text: answer.type === "opaqueredirect" ? "" : await answer.text() };
    } finally {
      clearTimeout(clock);
    }
  };

  // A token for this sending, from the server that will take it; or what stands in the way.
  const hello = async () => {
    const { answer, text } = await within(LONGEST_S, words.hello);
    if (answer.type === "opaqueredirect") return { trouble: words.out };
    if (!answer.ok) return { trouble: answer.status === 403 ? words.out : words.fault };
    const who = JSON.parse(text);
    return who.user === user ? { token: who.token } : { trouble: words.other };
  };

  let sending = false;
  let again = false;
  const send = async () => {
    if (!keeping) return;
    if (sending) {
      again = true;
      return;
    }
    sending = true;
    try {
      do {
        again = false;
        const ready = (await mine()).filter((part) => part.ready);
        if (!ready.length) break;
        const met = await hello();
        trouble = met.trouble || "";
        if (trouble) break;
        for (const part of ready) {
          trouble = await sendOne(part.id, met.token);
          if (trouble) break;
        }
      } while (again && !trouble);
    } catch {
      trouble = words.away;
    }
    sending = false;
    await tell();
  };

  const sendOne = async (id, token) => {
    // What is sent is what stands when it leaves; from here on its end is unknown until the server has answered.
    const part = await crewStore.change(id, (now) => (now && now.ready ? Object.assign(now, { tried: true }) : null));
    if (!part) return "";
    const body = new FormData();
    for (const [name, value] of part.fields) body.append(name, value);
    for (const [name, file] of Object.entries(part.files)) body.append(name, file.blob, file.name);
    for (const [name, value] of Object.entries({ key: part.key, seen: part.seen, filled_at: part.at, csrfmiddlewaretoken: token })) body.append(name, value);
    const { answer, text } = await within(LONGEST_S, part.action, { method: "POST", body, headers: { "X-Part": "1" } });
    if (answer.type === "opaqueredirect") return words.out;
    if (answer.ok || answer.status === 409) {
      if (await crewStore.sent(id, part.key)) await putIn(part, text);
      return "";
    }
    if (answer.status === 422 || answer.status === 413) {
      const now = await crewStore.change(id, (kept) => (kept && kept.key === part.key ? Object.assign(kept, { ready: false, tried: false, refused: "refused" }) : null));
      if (now) await putIn(part, text);
      return "";
    }
    if ([403, 404].includes(answer.status)) {
      await crewStore.change(id, (kept) => (kept && kept.key === part.key ? Object.assign(kept, { ready: false, tried: false, refused: "notYours" }) : null));
      const form = forms().find((one) => idOf(one) === id);
      if (form) await restore(form);
      return "";
    }
    return words.fault;
  };

  // The server's answer takes the place of the part that was sent.
  const putIn = async (part, html) => {
    const form = forms().find((one) => one.getAttribute("action") === part.action);
    const fresh = new DOMParser().parseFromString(html, "text/html").querySelector("section.part");
    if (!form || !fresh) return;
    form.closest("section").replaceWith(fresh);
    const missing = document.getElementById("missing");
    missing.textContent = fresh.dataset.missing;
    missing.hidden = !fresh.dataset.missing;
    await restore(fresh.querySelector("form[data-part]"));
    fresh.dispatchEvent(new Event("put-in", { bubbles: true }));
    const wrong = fresh.querySelector(".errors");
    if (wrong) wrong.focus();
  };

  const begin = async () => {
    try {
      await crewStore.all();
      keeping = true;
      for (const form of forms()) await restore(form);
    } catch {
      document.getElementById("opens").textContent = words.plain;
    }
    for (const form of forms()) form.inert = false;
    if (!keeping) return;
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {}); // not to be cleared for want of room
    await tell();
    await send();
  };
  begin().then(() => document.documentElement.setAttribute("data-begun", "yes"));

  window.addEventListener("online", send);
  window.addEventListener("pageshow", (event) => event.persisted && send());
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  setInterval(send, RETRY_S * 1000);

  // This page, and from the day's page each home's form, is kept to be opened without reception.
  if (!navigator.serviceWorker) return;
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data === "kept") document.getElementById("opens").textContent = words.opens;
  });
  navigator.serviceWorker
    .register(words.worker)
    .then(() => navigator.serviceWorker.ready)
    .then((ready) => {
      const pages = [location.href, ...[...document.querySelectorAll("a[data-keep]")].map((link) => link.href)];
      const files = [...document.querySelectorAll('link[rel="stylesheet"], script[src]')].map((one) => one.href || one.src);
      ready.active.postMessage({ pages, files });
    })
    .catch(() => {}); // without it all is kept all the same; only this page does not open without reception
})();
