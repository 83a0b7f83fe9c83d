// Every page works without this. With it, a form that comes back stays on its
// page, a value out of line is told at once, and what cannot be sent is kept on
// the phone until the station answers again. The words stand in the page.
"use strict";
(() => {
  const doc = document, find = (what, where = doc) => where.querySelector(what);
  const all = (what, where = doc) => [...where.querySelectorAll(what)];

  // The station's clock as seen from this phone, whose own may be wrong.
  let ahead = 0;
  const setClock = page => {
    const box = find("#waiting", page);
    if (box) ahead = box.dataset.now - Date.now();
  };
  setClock(doc);

  // What waits to be sent is written down before it is sent, so that neither a
  // dead station nor a closed browser loses it.
  const waiting = () => {
    try { return JSON.parse(localStorage.waiting || "[]"); } catch { return []; }
  };
  const keep = list => {
    try { localStorage.waiting = JSON.stringify(list); return true; } catch { return false; }
  };
  const drop = item => keep(waiting().filter(other => other.key !== item.key));

  // A key as RFC 9562 lays out version 7: time, then chance.
  const newKey = () => {
    const b = crypto.getRandomValues(new Uint8Array(16));
    let t = Date.now();
    for (let i = 5; i >= 0; i--) {
      b[i] = t % 256;
      t = Math.floor(t / 256);
    }
    b[6] = b[6] & 15 | 112;
    b[8] = b[8] & 63 | 128;
    return [...b].map(x => (x + 256).toString(16).slice(1)).join("").replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
  };

  // send tells how the station took it: saved, refused (the form comes back), or
  // neither, when nobody or somebody else answered.
  const send = async item => {
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), 10000);
    try {
      const r = await fetch(item.url, { method: "POST", body: new URLSearchParams(item.body), signal: stop.signal });
      const html = await r.text(), ours = html.includes('<body class="on-');
      return {
        url: r.url, html: ours && html, status: r.status,
        saved: ours && r.ok && r.redirected && (!item.what || r.url.includes("saved=")),
        refused: ours && r.status >= 400 && r.status < 500 && r.status !== 401 && r.status !== 403,
        pair: ours && (r.status === 401 || r.status === 403),
        typed: html.includes('class="wrong"'), // all that was typed stands in the answer
      };
    } catch {
      return {};
    } finally {
      clearTimeout(timer);
    }
  };

  const parse = html => new DOMParser().parseFromString(html, "text/html");

  // show puts a page that was fetched in the place of this one.
  const show = (answer, moved) => {
    const page = parse(answer.html);
    all("link[rel=stylesheet]", page).forEach(sheet => find(`link[href="${sheet.getAttribute("href")}"]`) || doc.head.append(sheet));
    doc.title = page.title;
    doc.body.className = page.body.className;
    setClock(page);
    find("main").replaceWith(find("main", page));
    if (moved) history.replaceState(null, "", answer.url);
    const to = find("main [autofocus]") || find(".saved, .wrong, h1");
    if (!to) return;
    if (!to.matches("input, textarea, select")) to.tabIndex = -1;
    to.focus();
    to.scrollIntoView({ block: "center" });
  };

  const paint = sent => {
    const box = find("#waiting"), list = waiting();
    if (!box) return;
    box.hidden = !list.length && !sent;
    all("[data-if]", box).forEach(p => { p.hidden = !({ sent: sent, wait: list.some(i => !i.back && !i.pair), back: list.some(i => i.back || i.pair) })[p.dataset.if]; });
    find("ul", box).replaceChildren(...list.map(item => {
      const li = doc.createElement("li");
      li.append(item.what + ", " + new Date(item.at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" }) + " ");
      if (item.back || item.pair) {
        const look = doc.createElement("button");
        look.textContent = box.dataset.look;
        look.onclick = async () => {
          const answer = await send(item);
          if (!answer.html) return;
          settle(item, answer);
          show(answer);
          paint();
        };
        const out = doc.createElement("button");
        out.textContent = box.dataset.drop;
        out.onclick = () => {
          drop(item);
          paint();
        };
        li.append(look, " ", out);
      }
      return li;
    }));
  };

  // settle forgets what was saved or stands in a form again. A refusal that shows
  // no form is marked and waits for its maker.
  const settle = (item, answer) => {
    if (!answer.saved && !answer.refused && !answer.pair) return;
    drop(item);
    if (answer.pair || answer.refused && !answer.typed) keep([...waiting(), { ...item, back: answer.refused, pair: answer.pair }]);
  };

  // flush sends what waits, the oldest first, but not what is just being sent.
  // A refusal waits for its maker, what a phone may not send yet for its pairing,
  // which is tried when a page is opened; what makes the station stumble goes
  // behind the others.
  let busy = false, now = "";
  const flush = async opened => {
    if (busy) return;
    busy = true;
    let sent = 0;
    for (let n = waiting().length; n > 0; n--) {
      const item = waiting().find(i => !i.back && i.key !== now && (opened === true || !i.pair));
      if (!item) break;
      const answer = await send(item);
      if (answer.saved) {
        drop(item);
        sent++;
        continue;
      }
      if (!answer.html) break;
      item.back = answer.refused;
      item.pair = answer.pair;
      drop(item);
      keep([...waiting(), item]);
    }
    busy = false;
    if (sent || !find("#waiting [data-if=sent]:not([hidden])")) paint(sent);
  };

  addEventListener("submit", async event => {
    const form = event.target, press = event.submitter, box = find("#waiting");
    if (form.method !== "post") return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "1";
    // An answer that never comes must not lock the form: the key makes a second
    // sending harmless.
    const open = () => delete form.dataset.sent;
    setTimeout(open, 11000);
    const url = form.getAttribute("action"), key = form.elements.key;
    // What is answered with a file, or sends one, is the browser's business.
    if (!key || !box || form.enctype.startsWith("multipart") || url.endsWith(".pdf") || (press && press.hasAttribute("formaction"))) return;
    event.preventDefault();
    const body = new URLSearchParams(new FormData(form));
    if (press && press.name) body.append(press.name, press.value);
    const item = { key: key.value, url: url, at: Date.now(), what: form.dataset.keep };
    if (item.what) body.append("typed_at", Math.floor(Date.now() + ahead));
    item.body = body.toString();
    const kept = item.what && keep([...waiting(), item]);
    now = item.key;
    const answer = await send(item);
    now = "";
    open();
    if (kept) settle(item, answer);
    if (answer.saved && item.what) show(answer, true);
    else if (answer.saved) location.assign(answer.url);
    else if (answer.html && answer.status < 500) show(answer);
    else if (kept) {
      const by = form.elements.by && form.elements.by.value;
      form.reset();
      key.value = newKey();
      if (by) form.elements.by.value = by;
      const fold = form.closest("details");
      if (fold) fold.open = false;
      scrollTo(0, 0);
    } else complain(answer.html ? find("main section", parse(answer.html)).textContent : box.dataset.silent, "silent", form.firstChild).scrollIntoView({ block: "center" });
    paint();
  });
  addEventListener("pageshow", () => all("form[data-sent]").forEach(form => delete form.dataset.sent));

  // complain puts a sentence over a field, or on top of a form.
  const complain = (words, id, before) => {
    const p = doc.getElementById(id) || doc.createElement("p");
    p.id = id;
    p.className = "wrong";
    p.setAttribute("role", "alert");
    if (p.textContent !== words) p.textContent = words;
    if (!p.parentNode) before.before(p);
    return p;
  };

  // A value out of line is told while the thumb is still there. The limits and
  // the sentences are those by which the station judges.
  const judge = input => {
    const d = input.dataset, text = input.value.trim().replace("\u2212", "-");
    if (!text) return "";
    if (!/^[-+]?(\d+[.,]?\d*|[.,]\d+)$/.test(text)) return find("select, .unit", input.parentNode) && /[a-z°%]/i.test(text) ? "" : input.form.dataset.nan.replace("{v}", text);
    let v = Number(text.replace(",", "."));
    const unit = find("select", input.parentNode);
    if (unit && unit.value === "°F") v = (v - 32) / 1.8;
    if (v >= d.min && v <= d.max) return "";
    const round = x => Number(x.toPrecision(6));
    const fit = d.warm ? [(v - 32) / 1.8] : [v / 10, v / 100, v / 1000];
    const meant = v > d.max && fit.find(x => x >= d.min && x <= d.max);
    return (meant ? d.meant.replace("{g}", d.warm ? meant.toFixed(0) : round(meant)) : d.out).replaceAll("{v}", round(v));
  };
  let pause;
  const check = (input, quiet) => {
    const words = judge(input), id = input.id + "-error", old = doc.getElementById(id);
    if (!words || quiet) {
      if (old && !words) {
        old.remove();
        input.removeAttribute("aria-invalid");
      }
      return;
    }
    complain(words, id, input.parentNode);
    input.setAttribute("aria-invalid", "true");
    input.setAttribute("aria-describedby", id);
  };
  const judged = event => event.target.matches("[data-max]") ? event.target : event.target.matches("select") && find("[data-max]", event.target.parentNode);
  addEventListener("input", event => {
    const input = judged(event);
    if (!input) return;
    check(input, true);
    clearTimeout(pause);
    pause = setTimeout(check, 900, input);
  });
  addEventListener("change", event => {
    const input = judged(event);
    if (input) check(input);
  });

  // A link to a form of this page opens it on the spot, keypad and all, instead
  // of asking the station for the page again.
  addEventListener("click", event => {
    const link = event.target.closest("a[data-open]"), fold = link && doc.getElementById(link.dataset.open);
    if (!fold) return;
    event.preventDefault();
    fold.open = true;
    fold.scrollIntoView();
    const first = find("input:not([type=hidden])", fold);
    // Enter on the link must be over before the field has the focus, or it would
    // send the empty form. A thumb's keypad opens only within its own tap.
    const enter = () => first && first.focus({ preventScroll: true });
    if (event.detail) enter();
    else setTimeout(enter, 150);
  });
  const openFold = () => {
    const at = location.hash && doc.getElementById(location.hash.slice(1));
    if (at && at.tagName === "DETAILS") at.open = true;
  };
  addEventListener("hashchange", openFold);
  openFold();

  paint();
  flush(true);
  addEventListener("online", flush);
  setInterval(flush, 4000);
})();
