// What a sheet can do besides: values under the pointer, zoom. Without it everything can still be read.
(() => {
  const all = (of, what) => [...of.querySelectorAll(what)];
  const names = {};
  for (const li of all(document, ".legend li[data-of]")) names[li.dataset.of] = li.textContent.trim();
  // the points of a path: M and m lift the pen, l draws in steps, h1 makes a dot
  const points = (path) => {
    if (path.points) return path.points;
    const found = [];
    let step = "", x = 0, y = 0, at = 0;
    const parts = path.getAttribute("d").match(/[a-z]|-?\d+/gi) || [];
    while (at < parts.length) {
      if (/[a-z]/i.test(parts[at])) step = parts[at++];
      if (step === "h") at++;
      else if (step === "M") { x = +parts[at++]; y = +parts[at++]; found.push([x, y]); }
      else if (step === "l") { x += +parts[at++]; y += +parts[at++]; found.push([x, y]); }
      else at++;
    }
    return (path.points = found);
  };
  const two = (n) => String(n).padStart(2, "0");
  const short = (n) => String(+n.toPrecision(3)).replace("-", "−");
  const say = (value, scale, factor) => {
    if (scale === "log") value = Math.exp(value);
    if (factor === 1 && scale !== "plain") return value.toFixed(0);
    return scale === "plain" ? short(value) : (value / factor).toFixed(1);
  };
  for (const chart of all(document, "svg.chart[data-x0]")) {
    const figure = chart.closest("figure"), scroll = chart.parentElement;
    const { x0, x1, clock } = chart.dataset;
    const tip = document.createElement("output"), cursor = document.createElement("div");
    tip.className = "tip"; cursor.className = "cursor"; tip.hidden = cursor.hidden = true;
    figure.append(cursor, tip);
    const panels = all(chart, "svg.panel").map((panel) => ({
      panel, paths: all(panel, "path.line,path.dots").filter((path) => !path.classList.contains("edge")),
    }));
    const show = (event) => {
      const box = chart.querySelector("svg.panel rect.all").getBoundingClientRect();
      const part = (event.clientX - box.left) / box.width;
      if (part < 0 || part > 1) return hide();
      const x = +x0 + part * (x1 - x0), lines = [];
      for (const { panel, paths } of panels) {
        const { y0, y1, high, scale, factor, named } = panel.dataset;
        if (scale === "none") continue;
        for (const path of paths) {
          let best = null, off = 30;
          for (const point of points(path)) {
            const far = Math.abs(point[0] - part * 2880);
            if (far < off) { off = far; best = point; }
          }
          if (!best) continue;
          const value = +y0 + (1 - best[1] / high) * (y1 - y0);
          const name = names[path.getAttribute("class")] || path.dataset.named || named;
          lines.push(`${say(value, scale, +factor)}  ${name}`);
        }
      }
      const when = clock === "1" ? `${two(Math.floor(x / 3600) % 24)}:${two(Math.floor(x / 60) % 60)}` : short(x);
      const near = figure.getBoundingClientRect();
      tip.textContent = [when, ...new Set(lines)].join("\n");
      tip.hidden = cursor.hidden = false;
      cursor.style.left = `${event.clientX - near.left}px`;
      const right = event.clientX - near.left + 12;
      tip.style.left = `${Math.max(0, Math.min(right, near.width - tip.offsetWidth))}px`;
      tip.style.top = `${Math.max(0, box.top - near.top - tip.offsetHeight - 4)}px`;
    };
    const hide = () => { tip.hidden = cursor.hidden = true; };
    chart.addEventListener("pointermove", show);
    chart.addEventListener("pointerdown", show);
    chart.addEventListener("pointerleave", hide);
    let zoom = 1;
    const to = (next, at) => {
      const middle = at ?? scroll.clientWidth / 2, before = (scroll.scrollLeft + middle) / zoom;
      zoom = Math.max(1, Math.min(8, next));
      chart.style.setProperty("--zoom", zoom);
      scroll.scrollLeft = before * zoom - middle;
      hide();
    };
    for (const [sign, factor, what] of [["−", 0.5, "narrower"], ["+", 2, "wider"]]) {
      const button = document.createElement("button");
      button.type = "button"; button.textContent = sign; button.ariaLabel = what;
      button.addEventListener("click", () => to(zoom * factor));
      figure.querySelector("figcaption").append(button);
    }
    chart.addEventListener("dblclick", (event) =>
      to(zoom < 8 ? zoom * 2 : 1, event.clientX - scroll.getBoundingClientRect().left));
  }
  // printed, everything but many days is unfolded
  let folded = [];
  addEventListener("beforeprint", () => {
    folded = all(document, "details:not([open]):not(.many)");
    for (const one of folded) one.open = true;
  });
  addEventListener("afterprint", () => { for (const one of folded) one.open = false; });
})();
