/* Handles on the outline in the photograph: one moves it, two set its half axes and turn it. What is dragged is written into the form's own field. */
(function () {
  "use strict";
  var figure = document.getElementById("outline-picture"), field = document.querySelector("input[name=outline]");
  if (!figure || !field) { return; }
  var SPACE = "http://www.w3.org/2000/svg", drawing = figure.querySelector("svg"), photo = figure.querySelector("img");
  function made(name, where) { var part = document.createElementNS(SPACE, name); where.appendChild(part); return part; }
  function begin() {
    if (!drawing) { return; }
    drawing.setAttribute("role", "group");
    var box = drawing.viewBox.baseVal, thick = box.width / 250, rim = drawing.querySelector(".rim"), under = drawing.querySelector(".rim-under");
    var shape = read(field.value) || read(drawing.getAttribute("data-outline") || "") || fitted(rim) || [box.x + box.width / 2, box.y + box.height / 2, box.height / 3, box.height / 4.24, 0];
    var handles = ["middle", "first", "second"].map(function (name) {
      var dot = made("circle", drawing);
      dot.setAttribute("class", "handle"); dot.setAttribute("r", 7 * thick); dot.setAttribute("stroke-width", thick);
      dot.setAttribute("tabindex", "0"); dot.setAttribute("role", "button");
      dot.setAttribute("aria-label", { middle: "Move the outline", first: "Length and direction of the first half axis", second: "Length of the second half axis" }[name] + "; arrow keys");
      return dot;
    });
    function path() {
      var turn = shape[4] * Math.PI / 180, out = [];
      for (var k = 0; k < 120; k++) {
        var t = k / 60 * Math.PI, a = shape[2] * Math.cos(t), b = shape[3] * Math.sin(t);
        out.push((shape[0] + a * Math.cos(turn) - b * Math.sin(turn)).toFixed(1) + " " + (shape[1] + a * Math.sin(turn) + b * Math.cos(turn)).toFixed(1));
      }
      return "M" + out.join("L") + "Z";
    }
    function draw() {
      var turn = shape[4] * Math.PI / 180;
      var spots = [[shape[0], shape[1]], [shape[0] + shape[2] * Math.cos(turn), shape[1] + shape[2] * Math.sin(turn)], [shape[0] - shape[3] * Math.sin(turn), shape[1] + shape[3] * Math.cos(turn)]];
      handles.forEach(function (dot, k) { dot.setAttribute("cx", spots[k][0]); dot.setAttribute("cy", spots[k][1]); });
    }
    function changed() {
      rim.setAttribute("d", path()); under.setAttribute("d", path());
      field.value = [shape[0].toFixed(1), shape[1].toFixed(1), shape[2].toFixed(1), shape[3].toFixed(1), shape[4].toFixed(2)].join(",");
      var details = field.closest ? field.closest("details") : null;
      if (details) { details.open = true; }
      draw();
    }
    function put(k, x, y) {
      if (k === 0) { shape[0] = x; shape[1] = y; }
      else {
        var dx = x - shape[0], dy = y - shape[1], long = Math.max(5, Math.sqrt(dx * dx + dy * dy));
        if (k === 1) { shape[2] = long; shape[4] = Math.atan2(dy, dx) * 180 / Math.PI; } else { shape[3] = long; }
      }
      changed();
    }
    function spot(event) { var point = drawing.createSVGPoint(); point.x = event.clientX; point.y = event.clientY; return point.matrixTransform(drawing.getScreenCTM().inverse()); }
    handles.forEach(function (dot, k) {
      dot.addEventListener("pointerdown", function (event) { dot.setPointerCapture(event.pointerId); event.preventDefault(); dot.focus(); });
      dot.addEventListener("pointermove", function (event) { if (dot.hasPointerCapture(event.pointerId)) { var s = spot(event); put(k, s.x, s.y); } });
      dot.addEventListener("keydown", function (event) {
        var ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }, way = ways[event.key];
        if (!way) { return; }
        event.preventDefault();
        put(k, parseFloat(dot.getAttribute("cx")) + way[0] * thick, parseFloat(dot.getAttribute("cy")) + way[1] * thick);
      });
    });
    draw();
  }
  function read(text) { var parts = text.split(",").map(parseFloat); return parts.length === 5 && parts.every(isFinite) ? parts : null; }
  /* Centre, half axes and direction of a closed path that is an ellipse, from its own points. */
  function fitted(rim) {
    if (!rim || !rim.getTotalLength) { return null; }
    var long = rim.getTotalLength(), points = [], k, cx = 0, cy = 0, most = 0, turn = 0, least = Infinity;
    for (k = 0; k < 240; k++) { var p = rim.getPointAtLength(long * k / 240); points.push(p); cx += p.x / 240; cy += p.y / 240; }
    points.forEach(function (p) {
      var r = Math.sqrt(Math.pow(p.x - cx, 2) + Math.pow(p.y - cy, 2));
      if (r > most) { most = r; turn = Math.atan2(p.y - cy, p.x - cx); }
      least = Math.min(least, r);
    });
    return [cx, cy, most, least, turn * 180 / Math.PI];
  }
  /* A photograph without any reading: the picture is put into a drawing in its own pixels first. */
  if (!drawing && photo) {
    var wide = parseFloat(photo.getAttribute("data-width")), tall = parseFloat(photo.getAttribute("data-height"));
    var lay = function () {
      var w = wide || photo.naturalWidth, h = tall || photo.naturalHeight;
      drawing = document.createElementNS(SPACE, "svg");
      drawing.setAttribute("class", "over"); drawing.setAttribute("viewBox", "0 0 " + w + " " + h);
      var image = made("image", drawing); image.setAttribute("href", photo.src); image.setAttribute("width", w); image.setAttribute("height", h);
      ["rim-under", "rim"].forEach(function (name) { var part = made("path", drawing); part.setAttribute("class", name); part.setAttribute("stroke-width", w / 250); });
      photo.parentNode.replaceChild(drawing, photo);
      begin();
    };
    if (photo.complete) { lay(); } else { photo.onload = lay; }
  } else { begin(); }
})();
