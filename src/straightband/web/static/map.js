/* The height map under the finger: colours of even steps, contour lines, height with its uncertainty where one points, a profile along a drawn line. */
(function () {
  "use strict";
  var box = document.getElementById("map");
  if (!box || !window.Int16Array || !document.createElement("canvas").getContext) { return; }
  function number(name) { return parseFloat(box.getAttribute("data-" + name)); }
  var columns = number("columns"), rows = number("rows"), left = number("left"), low = number("low"), du = number("du"), dv = number("dv");
  var step = number("step"), band = number("band"), lowest = number("lowest"), highest = Math.max(number("highest"), number("lowest") + 1);
  var NOTHING = -32768, unit = box.getAttribute("data-unit"), unit_mm = number("unit-mm");
  function long(mm) { return (mm / unit_mm).toFixed(unit === "mm" ? 1 : 2) + " " + unit; }
  /* Every eighth of a scale of even lightness from dark blue to yellow, the same to colour-blind eyes. */
  var SCALE = [[0, 32, 76], [0, 48, 110], [52, 66, 108], [87, 92, 109], [118, 117, 119], [150, 144, 120], [187, 174, 108], [222, 204, 86], [255, 234, 70]];
  function element(name, where, look) { var made = document.createElement(name); if (look) { made.className = look; } (where || box).appendChild(made); return made; }

  var canvas = element("canvas"), bar = element("canvas"), tell = element("p", box, "tell"), chart = element("canvas");
  canvas.tabIndex = 0;
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", "Height map as seen looking at the face. Arrow keys move the cross; shift with arrow keys draws a line.");
  tell.setAttribute("role", "status");
  tell.textContent = "Touch the map for the height there; drag for a profile. Arrow keys move the cross.";
  bar.setAttribute("role", "img");
  bar.setAttribute("aria-label", "Scale of heights from " + told(lowest) + " to " + told(highest) + ", one band being " + band.toFixed(1) + " nm");
  chart.setAttribute("role", "img");
  chart.setAttribute("aria-label", "Profile along the line that was drawn");
  chart.hidden = true;
  var heights, doubts, picture, cross = null, line = null;

  var ask = new XMLHttpRequest();
  ask.open("GET", box.getAttribute("data-src"));
  ask.responseType = "arraybuffer";
  ask.onload = function () {
    var numbers = new Int16Array(ask.response), size = columns * rows;
    heights = summed(numbers.subarray(0, size));
    doubts = summed(numbers.subarray(size, 2 * size));
    paint();
    draw();
    box.setAttribute("data-ready", "yes");
  };
  ask.send();

  function summed(differences) {
    var out = new Int16Array(differences);
    for (var k = columns; k < out.length; k++) { out[k] = out[k] + out[k - columns]; }
    return out;
  }
  function told(whole) { return (whole * step < 0 ? "\u2212" : "") + Math.abs(whole * step).toFixed(1) + " nm"; }
  function colour(share) {
    var place = Math.max(0, Math.min(0.9999, share)) * (SCALE.length - 1), k = Math.floor(place), part = place - k;
    return [0, 1, 2].map(function (c) { return SCALE[k][c] + part * (SCALE[k + 1][c] - SCALE[k][c]); });
  }
  /* The height at a place by its four neighbours; NOTHING where one of them is off the face. */
  function at(field, x, y) {
    var c = Math.floor(x), r = Math.floor(y), px = x - c, py = y - r;
    if (c < 0 || r < 0 || c + 1 >= columns || r + 1 >= rows) { return NOTHING; }
    var k = r * columns + c, a = field[k], b = field[k + 1], d = field[k + columns], e = field[k + columns + 1];
    if (a === NOTHING || b === NOTHING || d === NOTHING || e === NOTHING) { return NOTHING; }
    return (1 - py) * ((1 - px) * a + px * b) + py * ((1 - px) * d + px * e);
  }
  function contourStep() {
    var rough = (highest - lowest) * step / 8, decade = Math.pow(10, Math.floor(Math.log(rough) / Math.LN10));
    return [1, 2, 5, 10].map(function (f) { return f * decade; }).filter(function (s) { return s >= rough * 0.999; })[0];
  }
  var shown = { width: 0, height: 0, dense: 1, contour: 1 };
  function paint() {
    var room = Math.min(box.clientWidth || 320, 640), tall = Math.min(0.62 * window.innerHeight, 640);
    var scale = Math.min(room / (columns * du), tall / (rows * dv));
    shown.dense = Math.min(2, window.devicePixelRatio || 1);
    shown.width = Math.round(columns * du * scale);
    shown.height = Math.round(rows * dv * scale);
    shown.contour = contourStep();
    canvas.width = shown.width * shown.dense;
    canvas.height = shown.height * shown.dense;
    canvas.style.width = shown.width + "px";
    canvas.style.height = shown.height + "px";
    var pen = canvas.getContext("2d"), image = pen.createImageData(canvas.width, canvas.height), wide = canvas.width, k, level, here, x, y;
    var before = new Float32Array(wide), contour = shown.contour / step, middle = (lowest + highest) / 2;
    for (var j = 0; j < canvas.height; j++) {
      y = (1 - (j + 0.5) / canvas.height) * rows - 0.5;
      var beside = NaN;
      for (var i = 0; i < wide; i++) {
        x = (i + 0.5) / wide * columns - 0.5;
        here = at(heights, x, y);
        k = 4 * (j * wide + i);
        if (here === NOTHING) { beside = NaN; before[i] = NaN; continue; }
        level = Math.floor(here / contour);
        var rgb = colour((here - lowest) / (highest - lowest));
        if ((beside === beside && level !== beside) || (before[i] === before[i] && j > 0 && level !== before[i])) { rgb = here > middle ? [0, 0, 0] : [255, 255, 255]; }
        image.data[k] = rgb[0]; image.data[k + 1] = rgb[1]; image.data[k + 2] = rgb[2]; image.data[k + 3] = 255;
        beside = level; before[i] = level;
      }
    }
    pen.putImageData(image, 0, 0);
    picture = image;
    scaleBar(room);
  }
  function scaleBar(room) {
    var dense = shown.dense, wide = Math.min(room, Math.max(shown.width, 300)), pen = bar.getContext("2d");
    bar.width = wide * dense; bar.height = 66 * dense; bar.style.width = wide + "px"; bar.style.height = "66px";
    pen.scale(dense, dense);
    for (var i = 0; i < wide - 40; i++) { pen.fillStyle = "rgb(" + colour(i / (wide - 40)).map(Math.round).join(",") + ")"; pen.fillRect(20 + i, 22, 1.5, 16); }
    pen.fillStyle = "#1a1a1a"; pen.strokeStyle = "#1a1a1a"; pen.font = "15px system-ui, sans-serif"; pen.textAlign = "center";
    ticks(shown.contour * Math.ceil((highest - lowest) * step / shown.contour / 5), 22, 14, "nm", 1, pen, wide);
    var rough = (highest - lowest) * step / band / 5, decade = Math.pow(10, Math.floor(Math.log(rough) / Math.LN10));
    var bands = [1, 2, 5, 10].filter(function (f) { return f * decade >= rough * 0.999; })[0] * decade;
    ticks(bands * band, 38, 58, "bands", band, pen, wide);
  }
  function ticks(every, edge, words, unit, per, pen, wide) {
    var from = lowest * step, to = highest * step, last = Math.floor(to / every + 1e-6), first = Math.ceil(from / every - 1e-6);
    var taken = [];
    for (var n = last; n >= first; n--) { // from the last, which carries the unit
      var x = 20 + (n * every - from) / (to - from) * (wide - 40), value = n * every / per;
      pen.beginPath(); pen.moveTo(x, edge); pen.lineTo(x, edge + (words < edge ? -5 : 5)); pen.stroke();
      var text = String(+value.toPrecision(3)).replace("-", "\u2212") + (n === last ? " " + unit : ""), half = pen.measureText(text).width / 2;
      var middle = Math.max(half, Math.min(wide - half, x));
      if (taken.some(function (other) { return Math.abs(other[0] - middle) < other[1] + half + 10; })) { continue; }
      taken.push([middle, half]);
      pen.fillText(text, middle, words);
    }
  }
  function draw() {
    var pen = canvas.getContext("2d"), dense = shown.dense;
    pen.putImageData(picture, 0, 0);
    pen.lineWidth = 2 * dense;
    function stroke(path) { pen.strokeStyle = "#fff"; pen.lineWidth = 5 * dense; pen.beginPath(); path(); pen.stroke(); pen.strokeStyle = "#a3350f"; pen.lineWidth = 2 * dense; pen.beginPath(); path(); pen.stroke(); }
    if (line) { stroke(function () { pen.moveTo(line[0] * canvas.width, line[1] * canvas.height); pen.lineTo(line[2] * canvas.width, line[3] * canvas.height); }); }
    if (cross) { stroke(function () { var x = cross[0] * canvas.width, y = cross[1] * canvas.height, s = 9 * dense; pen.moveTo(x - s, y); pen.lineTo(x + s, y); pen.moveTo(x, y - s); pen.lineTo(x, y + s); }); }
  }
  function place(share) { return [share[0] * columns - 0.5, (1 - share[1]) * rows - 0.5]; }
  function say() {
    var spot = place(cross), height = at(heights, spot[0], spot[1]), doubt = at(doubts, spot[0], spot[1]);
    var where = "u " + long(left + spot[0] * du) + ", v " + long(low + spot[1] * dv) + ": ";
    tell.textContent = where.replace(/-/g, "\u2212") + (height === NOTHING ? "off the clear aperture" : told(height) + " \u00b1 " + (doubt * step).toFixed(1) + " nm (95 %), " + (height * step / band).toFixed(3).replace("-", "\u2212") + " bands");
  }
  function profile() {
    var a = place(line.slice(0, 2)), b = place(line.slice(2)), count = 200, values = [], low_ = Infinity, high = -Infinity, k;
    var length = Math.sqrt(Math.pow((b[0] - a[0]) * du, 2) + Math.pow((b[1] - a[1]) * dv, 2));
    for (k = 0; k <= count; k++) {
      var x = a[0] + (b[0] - a[0]) * k / count, y = a[1] + (b[1] - a[1]) * k / count, h = at(heights, x, y), d = at(doubts, x, y);
      values.push(h === NOTHING ? null : [h * step, d * step]);
      if (h !== NOTHING) { low_ = Math.min(low_, (h - d) * step); high = Math.max(high, (h + d) * step); }
    }
    if (!(high > low_) || length < 0.5) { chart.hidden = true; return; }
    chart.hidden = false;
    var wide = Math.min(box.clientWidth, 640), tall = 200, dense = shown.dense, pen = chart.getContext("2d");
    chart.width = wide * dense; chart.height = tall * dense; chart.style.width = wide + "px"; chart.style.height = tall + "px";
    pen.scale(dense, dense); pen.font = "14px system-ui, sans-serif"; pen.fillStyle = "#1a1a1a";
    function px(n) { return 56 + n / count * (wide - 66); }
    function py(nm) { return 16 + (high - nm) / (high - low_) * (tall - 48); }
    pen.fillStyle = "#e3ded2";
    values.forEach(function (v, n) { if (v) { pen.fillRect(px(n), py(v[0] + v[1]), (wide - 66) / count + 0.6, Math.max(1, py(v[0] - v[1]) - py(v[0] + v[1]))); } });
    pen.strokeStyle = "#1a1a1a"; pen.lineWidth = 2; pen.beginPath();
    var pen_down = false;
    values.forEach(function (v, n) { if (!v) { pen_down = false; return; } if (pen_down) { pen.lineTo(px(n), py(v[0])); } else { pen.moveTo(px(n), py(v[0])); pen_down = true; } });
    pen.stroke();
    pen.fillStyle = "#1a1a1a"; pen.textAlign = "right";
    [low_, (low_ + high) / 2, high].forEach(function (nm) { pen.fillText(nm.toFixed(0).replace("-", "\u2212"), 50, py(nm) + 5); });
    pen.textAlign = "left"; pen.fillText("nm", 2, 14); pen.fillText("0", px(0), tall - 8);
    pen.textAlign = "right"; pen.fillText(long(length) + "; grey: 95 %", wide - 4, tall - 8);
  }
  function share(event) { var frame = canvas.getBoundingClientRect(); return [(event.clientX - frame.left) / frame.width, (event.clientY - frame.top) / frame.height]; }
  var from = null;
  function down(event) { if (!heights) { return; } from = share(event); cross = from; line = null; chart.hidden = true; say(); draw(); }
  function move(event) {
    if (!heights) { return; }
    cross = share(event);
    if (from && Math.abs(cross[0] - from[0]) + Math.abs(cross[1] - from[1]) > 0.03) { line = from.concat(cross); profile(); }
    say(); draw();
  }
  function up() { from = null; }
  if (window.PointerEvent) {
    canvas.addEventListener("pointerdown", function (event) { canvas.setPointerCapture(event.pointerId); down(event); });
    canvas.addEventListener("pointermove", function (event) { if (from || event.pointerType === "mouse") { move(event); } });
    canvas.addEventListener("pointerup", up);
    canvas.addEventListener("pointercancel", up);
  } else {
    canvas.addEventListener("mousedown", down); canvas.addEventListener("mousemove", move); window.addEventListener("mouseup", up);
    canvas.addEventListener("touchstart", function (event) { down(event.touches[0]); event.preventDefault(); });
    canvas.addEventListener("touchmove", function (event) { move(event.touches[0]); event.preventDefault(); });
    canvas.addEventListener("touchend", up);
  }
  canvas.addEventListener("keydown", function (event) {
    var ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }, way = ways[event.key];
    if (!way || !heights) { return; }
    event.preventDefault();
    var was = cross || [0.5, 0.5];
    cross = [Math.max(0, Math.min(1, was[0] + way[0] / columns * 2)), Math.max(0, Math.min(1, was[1] + way[1] / rows * 2))];
    if (event.shiftKey) { line = (line ? line.slice(0, 2) : was).concat(cross); profile(); } else { line = null; chart.hidden = true; }
    say(); draw();
  });
  var later = null;
  window.addEventListener("resize", function () { clearTimeout(later); later = setTimeout(function () { if (heights) { paint(); draw(); } }, 150); });
})();
