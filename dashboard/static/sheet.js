"use strict";
// Keeps the sheet fresh and lets the curve be read and moved. Everything else works without it.
(() => {
  const by = (id) => document.getElementById(id);
  const main = by("main");
  const curve = by("curve");
  let source = null;
  let isOld = false;
  let isHeld = false;
  let fetchedAt = Date.now();
  let cursorShare = null;
  let refetch = () => {};

  // What was unfolded by hand is no difference, and stays unfolded.
  const folded = (part) => {
    const copy = part.cloneNode(true);
    for (const details of copy.querySelectorAll("details[open]")) details.removeAttribute("open");
    return copy.innerHTML;
  };
  const replace = (old, html) => {
    const open = [...old.querySelectorAll("details[open] > summary")].map((each) => each.textContent);
    old.innerHTML = html;
    for (const each of old.querySelectorAll("details > summary")) {
      each.parentElement.open = open.includes(each.textContent);
    }
  };

  // Parts marked data-live are replaced when they differ, so that a screen reader is not disturbed.
  const freshen = (html) => {
    const box = document.createElement("template");
    box.innerHTML = html;
    for (const part of box.content.querySelectorAll("[data-live]")) {
      const old = by(part.id);
      if (old && folded(old) !== part.innerHTML) replace(old, part.innerHTML);
    }
  };

  const listen = () => {
    if (source || document.hidden || !main.dataset.stream) return;
    source = new EventSource(main.dataset.stream);
    source.addEventListener("open", () => { by("offline").hidden = true; });
    source.addEventListener("error", () => { by("offline").hidden = false; });
    source.addEventListener("now", (event) => { freshen(event.data); isOld = true; refetch(); });
    source.addEventListener("title", (event) => { document.title = event.data; });
  };
  const leave = () => { if (source) source.close(); source = null; };
  document.addEventListener("visibilitychange", () => (document.hidden ? leave() : listen()));
  addEventListener("pagehide", leave);
  addEventListener("pageshow", listen);
  listen();
  if (!curve) return;

  // The curve: fetched again when something new was heard, never faster than it can change.
  const show = async (href) => {
    const address = new URL(href, location.href);
    address.searchParams.set("part", "curve");
    const answer = await fetch(address).catch(() => null);
    if (!answer || !answer.ok) return false;
    const box = document.createElement("template");
    box.innerHTML = await answer.text();
    const fresh = box.content.firstElementChild;
    const focused = document.activeElement && document.activeElement.id;
    curve.innerHTML = fresh.innerHTML;
    for (const name of ["href", "every", "follows"]) {
      if (name in fresh.dataset) curve.dataset[name] = fresh.dataset[name];
      else delete curve.dataset[name];
    }
    if (focused && document.activeElement === document.body && by(focused)) by(focused).focus();
    fetchedAt = Date.now();
    isOld = false;
    prepare();
    return true;
  };
  refetch = () => {
    const isDue = Date.now() - fetchedAt >= 1000 * curve.dataset.every;
    if (isOld && isDue && !isHeld && !document.hidden && "follows" in curve.dataset) {
      fetchedAt = Date.now();
      show(curve.dataset.href);
    }
  };
  setInterval(() => refetch(), 1000);

  curve.addEventListener("click", async (event) => {
    const link = event.target.closest("a[data-curve]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    if (await show(link.href)) history.replaceState(null, "", link.href);
    else location.assign(link.href);
  });

  const hold = by("hold");
  hold.addEventListener("click", () => {
    isHeld = !isHeld;
    hold.setAttribute("aria-pressed", isHeld);
    refetch();
  });

  // Reading a value: the numbers are taken back out of the picture's own paths.
  const cursor = by("cursor");
  const points = (path) => path.getAttribute("d").split("M").slice(1).map((run) => {
    const numbers = run.match(/-?\d+/g).map(Number);
    let [x, y] = numbers;
    const found = [[x, y]];
    for (let i = 2; i + 1 < numbers.length; i += 2) {
      x += numbers[i];
      y += numbers[i + 1];
      found.push([x, y]);
    }
    return found;
  });
  const at = (path, share) => {
    const lane = path.ownerSVGElement;
    const { width, height } = lane.viewBox.baseVal;
    const x = share * width;
    for (const run of points(path)) {
      for (let i = 1; i < run.length; i += 1) {
        const [[x0, y0], [x1, y1]] = [run[i - 1], run[i]];
        if (x1 > x0 && x0 - 1 <= x && x <= x1 + 1) {
          const y = y0 + (y1 - y0) * Math.min(1, Math.max(0, (x - x0) / (x1 - x0)));
          const low = Number(lane.dataset.low || 0);
          return low + (1 - y / height) * (Number(lane.dataset.high || 1) - low);
        }
      }
    }
    return null;
  };
  const clock = (plot, utc) => {
    let east = 0;
    for (const change of plot.dataset.offsets.split(",")) {
      const [from, offset] = change.split(":").map(Number);
      if (from <= utc) east = offset;
    }
    const shape = { timeZone: "UTC", weekday: "short", hour: "2-digit", minute: "2-digit" };
    return new Date(1000 * (utc + east)).toLocaleString("en-GB", shape);
  };
  const WORDS = {
    beer: (t, unit) => `beer ${t.toFixed(1)} ${unit}`,
    target: (t, unit) => `target ${t.toFixed(1)} ${unit}`,
    garage: (t, unit) => `garage ${t.toFixed(1)} ${unit}`,
    heat: (share) => `heat on ${Math.round(100 * share)} % of the time`,
    fan: (share) => `fan on ${Math.round(100 * share)} % of the time`,
  };
  // What is reckoned stands apart from what was read.
  const reckoned = (plot) => {
    const path = plot.querySelector("[data-reads=gravity]");
    const value = path && at(path, cursorShare);
    if (value === null) return "";
    const scale = plot.dataset.gravity;
    return `; gravity about ${scale === "SG" ? value.toFixed(3) : `${value.toFixed(1)} ${scale}`}`;
  };
  const read = () => {
    const plot = by("plot");
    if (!plot || cursorShare === null) return;
    const [from, to] = [Number(plot.dataset.from), Number(plot.dataset.to)];
    const values = Object.entries(WORDS).flatMap(([name, say]) => {
      const path = plot.querySelector(`[data-reads=${name}]`);
      const value = path && at(path, cursorShare);
      return value === null ? [] : [say(value, plot.dataset.degree)];
    });
    const text = `${clock(plot, from + cursorShare * (to - from))}: ${values.join(", ") || "no readings"}${reckoned(plot)}.`;
    by("read").textContent = text;
    cursor.setAttribute("aria-valuetext", text);
    let line = plot.querySelector(".cursor");
    if (!line) {
      line = document.createElementNS(plot.namespaceURI, "line");
      line.setAttribute("class", "cursor");
      line.setAttribute("y1", 34);
      line.setAttribute("y2", 372);
      plot.append(line);
    }
    line.setAttribute("x1", `${100 * cursorShare}%`);
    line.setAttribute("x2", `${100 * cursorShare}%`);
  };
  const point = (event) => {
    const frame = by("plot").getBoundingClientRect();
    cursorShare = Math.min(1, Math.max(0, (event.clientX - frame.left) / frame.width));
    cursor.value = 1000 * cursorShare;
    read();
  };
  cursor.addEventListener("input", () => { cursorShare = cursor.value / 1000; read(); });
  const KEYS = { "+": "closer", "-": "wider", ArrowLeft: "earlier", ArrowRight: "later" };
  cursor.addEventListener("keydown", (event) => {
    const move = KEYS[event.key];
    if (!move || (event.key.startsWith("Arrow") && !event.shiftKey)) return;
    event.preventDefault();
    const link = by(`move-${move}`);
    if (link) link.click();
  });
  const prepare = () => {
    const plot = by("plot");
    cursor.parentElement.hidden = !plot;
    hold.hidden = !("follows" in curve.dataset);
    if (!plot) return;
    plot.addEventListener("pointermove", point);
    plot.addEventListener("pointerdown", point);
    read();
  };
  prepare();
})();
