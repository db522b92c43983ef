// Reads a page as a thumb and an eye in sunlight meet it. Evaluates to an object of functions.
(() => {
  const TARGETS =
    "a[href], area[href], button, input:not([type=hidden]), select, textarea, summary, " +
    "[role=button], [role=link], [role=tab], [role=switch], [role=checkbox], [role=radio], " +
    "[role=menuitem], [role=option], [contenteditable=true], [tabindex]:not([tabindex='-1'])";
  const MOST_FRAMES = 60;
  const NOT_ABLE = ":disabled, [aria-disabled=true]";

  const name = (el) => {
    let path = el.tagName.toLowerCase();
    if (el.id) path += `#${el.id}`;
    else if (el.name) path += `[name=${el.name}]`;
    else if (el.classList.length) path += `.${[...el.classList].join(".")}`;
    const words = (el.getAttribute("aria-label") || el.innerText || el.value || "").trim();
    return words ? `<${path}> “${words.replace(/\s+/g, " ").slice(0, 40)}”` : `<${path}>`;
  };

  const area = () => document.querySelector("dialog:modal") || document.body;

  const hiddenOnPurpose = (el) => {
    for (let up = el; up && up !== document.body; up = up.parentElement) {
      const style = getComputedStyle(up);
      const box = up.getBoundingClientRect();
      if (box.width <= 1 && box.height <= 1 && style.overflow !== "visible") return true;
      if (style.clipPath === "inset(50%)" || style.clipPath === "inset(100%)") return true;
    }
    return false;
  };

  const offPage = (box) => box.right + scrollX <= 0 || box.bottom + scrollY <= 0;

  const shown = (el) => {
    if (!el.checkVisibility({ opacityProperty: true, visibilityProperty: true })) return false;
    if (el.closest("[inert]") || hiddenOnPurpose(el)) return false;
    const box = el.getBoundingClientRect();
    return box.width > 0 && box.height > 0 && !offPage(box);
  };

  // A tick box or a radio button is pressed on its label too, so that they are one target.
  const parts = (el) => {
    const labelled = el.matches("input[type=checkbox], input[type=radio], input[type=file]");
    return [el, ...(labelled ? el.labels || [] : [])].filter(shown);
  };

  const around = (elements) => {
    const boxes = elements.map((el) => el.getBoundingClientRect());
    const box = {
      left: Math.min(...boxes.map((b) => b.left)),
      top: Math.min(...boxes.map((b) => b.top)),
      right: Math.max(...boxes.map((b) => b.right)),
      bottom: Math.max(...boxes.map((b) => b.bottom)),
    };
    return { ...box, width: box.right - box.left, height: box.bottom - box.top };
  };

  // Things scroll together or stand still together: only those can keep a distance.
  const layer = (el) => {
    for (let up = el.parentElement; up && up !== document.body; up = up.parentElement) {
      const style = getComputedStyle(up);
      if (["fixed", "sticky"].includes(style.position)) return up;
      if (/auto|scroll/.test(style.overflowX + style.overflowY)) return up;
    }
    return null;
  };

  const targets = () =>
    [...area().querySelectorAll(TARGETS)]
      .map((el) => ({ el, parts: parts(el) }))
      .filter((target) => target.parts.length)
      .map((target) => ({ ...target, box: around(target.parts), layer: layer(target.el) }));

  const smallTargets = (least) =>
    targets()
      .filter(({ box }) => box.width < least - 0.5 || box.height < least - 0.5)
      .map(({ el, box }) => `${name(el)} is ${box.width.toFixed(1)} × ${box.height.toFixed(1)} px`);

  const closeTargets = (least) => {
    const all = targets();
    const found = [];
    all.forEach((a, i) =>
      all.slice(i + 1).forEach((b) => {
        const nested = a.parts.some((p) => b.parts.some((q) => p.contains(q) || q.contains(p)));
        if (nested || a.layer !== b.layer) return;
        const across = Math.max(a.box.left - b.box.right, b.box.left - a.box.right, 0);
        const down = Math.max(a.box.top - b.box.bottom, b.box.top - a.box.bottom, 0);
        const gap = Math.hypot(across, down);
        if (gap < least - 0.5)
          found.push(`${name(a.el)} and ${name(b.el)} are ${gap.toFixed(1)} px apart`);
      }),
    );
    return found;
  };

  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 1;
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  const known = new Map();
  const rgba = (text) => {
    if (!known.has(text)) {
      pen.clearRect(0, 0, 1, 1);
      pen.fillStyle = text;
      pen.fillRect(0, 0, 1, 1);
      const [r, g, b, a] = pen.getImageData(0, 0, 1, 1).data;
      known.set(text, [r, g, b, a / 255]);
    }
    return known.get(text);
  };
  const over = (top, under) => {
    const alpha = top[3] + under[3] * (1 - top[3]);
    if (alpha === 0) return [0, 0, 0, 0];
    const mix = (i) => (top[i] * top[3] + under[i] * under[3] * (1 - top[3])) / alpha;
    return [mix(0), mix(1), mix(2), alpha];
  };
  const luminance = ([r, g, b]) => {
    const line = (v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
    return 0.2126 * line(r) + 0.7152 * line(g) + 0.0722 * line(b);
  };
  const ratio = (one, two) => {
    const [low, high] = [luminance(one), luminance(two)].sort((a, b) => a - b);
    return (high + 0.05) / (low + 0.05);
  };
  const paper = () => {
    const probe = document.createElement("div");
    probe.style.backgroundColor = "Canvas";
    document.documentElement.append(probe);
    const color = rgba(getComputedStyle(probe).backgroundColor);
    probe.remove();
    return color;
  };
  const ground = (el) => {
    let color = [0, 0, 0, 0];
    for (let up = el; up; up = up.parentElement) {
      const style = getComputedStyle(up);
      if (style.backgroundImage !== "none") return null;
      color = over(color, rgba(style.backgroundColor));
      if (color[3] > 0.999) return color;
    }
    return over(color, paper());
  };
  const opacity = (el) => {
    let share = 1;
    for (let up = el; up; up = up.parentElement) share *= Number(getComputedStyle(up).opacity);
    return share;
  };

  // Every piece of text that can be read: [element, colour, font size, which words].
  const texts = () => {
    const found = [];
    const walker = document.createTreeWalker(area(), NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      const el = node.parentElement;
      if (!node.data.trim() || !shown(el) || el.closest("option")) continue;
      const range = document.createRange();
      range.selectNodeContents(node);
      if (![...range.getClientRects()].some((box) => box.width && box.height)) continue;
      const style = getComputedStyle(el);
      found.push([el, el.closest("svg") ? style.fill : style.color, style.fontSize, "text"]);
    }
    for (const el of area().querySelectorAll("input:not([type=hidden]), select, textarea")) {
      if (!shown(el) || el.matches("[type=checkbox], [type=radio], [type=range]")) continue;
      const style = getComputedStyle(el);
      found.push([el, style.color, style.fontSize, "value"]);
      if (el.placeholder)
        found.push([el, getComputedStyle(el, "::placeholder").color, style.fontSize, "hint"]);
    }
    return found;
  };

  const paleTexts = (least) => {
    const found = new Set();
    for (const [el, color, , what] of texts()) {
      if (el.closest(NOT_ABLE)) continue;
      const behind = ground(el);
      if (!behind) {
        found.add(`${name(el)}: its ${what} stands on an image, so its contrast is unknown`);
        continue;
      }
      const ink = [...rgba(color)];
      ink[3] *= opacity(el);
      const value = ratio(over(ink, behind), behind);
      if (value < least - 0.005)
        found.add(`${name(el)}: its ${what} has a contrast of ${value.toFixed(2)}:1`);
    }
    return [...found];
  };

  const smallTexts = (least) => [
    ...new Set(
      texts()
        .filter(([, , size]) => parseFloat(size) < least - 0.05)
        .map(([el, , size, what]) => `${name(el)}: its ${what} is ${size}`),
    ),
  ];

  const wideParts = (width) => {
    const page = document.scrollingElement;
    const found = [];
    if (page.scrollWidth > width) found.push(`the page scrolls sideways: ${page.scrollWidth} px`);
    const scrolls = (el) => {
      for (let up = el.parentElement; up && up !== document.body; up = up.parentElement)
        if (getComputedStyle(up).overflowX !== "visible") return true;
      return false;
    };
    for (const el of document.body.querySelectorAll("*")) {
      if (!shown(el) || scrolls(el)) continue;
      const right = el.getBoundingClientRect().right + scrollX;
      if (right > width + 0.5) found.push(`${name(el)} reaches to ${right.toFixed(0)} px`);
    }
    return found;
  };

  const hit = (elements, box) => {
    const x = (box.left + box.right) / 2;
    for (const y of [box.top + 4, (box.top + box.bottom) / 2, box.bottom - 4]) {
      const top = document.elementFromPoint(x, y);
      if (!top) return "the edge of the screen";
      if (!elements.some((el) => el.contains(top) || top.contains(el))) return name(top);
    }
    return "";
  };

  const coveredTargets = () => {
    const [wasX, wasY] = [scrollX, scrollY];
    const found = [];
    for (const { el, parts: pieces } of targets()) {
      const seen = pieces.includes(el) ? el : pieces[0];
      for (const block of ["end", "start"]) {
        seen.scrollIntoView({ block, inline: "center", behavior: "instant" });
        const box = seen.getBoundingClientRect();
        if (box.height > innerHeight) continue;
        const cover = hit(pieces, box);
        if (cover) {
          found.push(`${name(el)} is covered by ${cover} when it is scrolled to (${block})`);
          break;
        }
      }
    }
    scrollTo({ left: wasX, top: wasY, behavior: "instant" });
    return found;
  };

  // What the keyboard or a tap brings into view must be free of whatever sticks to an edge.
  const coveredWhenFocused = async () => {
    const [wasX, wasY] = [scrollX, scrollY];
    const found = new Set();
    const all = targets().filter(({ el }) => el.tabIndex >= 0 && !el.matches(NOT_ABLE));
    for (const way of [all, [...all].reverse()]) {
      scrollTo({ left: 0, top: way === all ? 0 : document.documentElement.scrollHeight, behavior: "instant" });
      for (const { el, parts: pieces } of way) {
        el.focus();
        if (document.activeElement !== el || !shown(el)) continue;
        let box = el.getBoundingClientRect();
        if (box.height > innerHeight / 2) continue;
        let cover = hit(pieces, box);
        // An engine may scroll many frames later, and a step a frame.
        for (let frames = 0; cover && frames < MOST_FRAMES; frames += 1) {
          await new Promise(requestAnimationFrame);
          box = el.getBoundingClientRect();
          cover = hit(pieces, box);
        }
        if (cover) found.add(`${name(el)} is covered by ${cover} when it is focused`);
      }
    }
    document.activeElement?.blur();
    scrollTo({ left: wasX, top: wasY, behavior: "instant" });
    return [...found];
  };

  // Below what sticks to the upper edge, or that edge: from under that a page is scrolled down again.
  const topEdge = () => {
    const box = document.querySelector("#notices")?.getBoundingClientRect();
    return box && box.height && box.top < 1 ? box.bottom + 8 : 8;
  };

  // With the page scrolled to its end, what stands last is free.
  const coveredAtTheEnd = (already) => {
    if (!already) scrollTo({ left: 0, top: document.documentElement.scrollHeight, behavior: "instant" });
    const inMain = targets().filter(({ el, layer }) => el.closest("main") && !layer && !fixed(el));
    const lowest = Math.max(...inMain.map(({ box }) => box.bottom));
    const found = inMain
      .filter(({ box }) => box.bottom > lowest - 24 && box.bottom > topEdge())
      .map(({ el, parts: pieces, box }) => [name(el), hit(pieces, { ...box, top: box.bottom - 8 })])
      .filter(([, cover]) => cover);
    scrollTo({ left: 0, top: 0, behavior: "instant" });
    return found.map(([what, cover]) => `${what} is covered by ${cover} at the end of the page`);
  };

  // When nothing has moved for a while.
  const atRest = async () => {
    const place = () => [scrollX, scrollY, document.documentElement.scrollHeight].join();
    for (let still = 0, frames = 0, was = ""; still < 3 && frames < MOST_FRAMES; frames += 1) {
      await new Promise(requestAnimationFrame);
      still = place() === was ? still + 1 : 0;
      was = place();
    }
    return [];
  };

  const fixed = (el) => {
    for (let up = el; up && up !== document.body; up = up.parentElement)
      if (["fixed", "sticky"].includes(getComputedStyle(up).position)) return true;
    return false;
  };

  return { atRest, coveredWhenFocused, coveredAtTheEnd, smallTargets, closeTargets, paleTexts, smallTexts, wideParts, coveredTargets };
})()
