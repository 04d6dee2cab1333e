/* What the pages do beyond forms: clocks, progress, uploads that go on after a lost connection, an order drawn while it is typed. ES5 plus fetch-free XHR, for old telephones. */
(function () {
  "use strict";
  function all(selector, act) { Array.prototype.forEach.call(document.querySelectorAll(selector), act); }

  function two(number) { return (number < 10 ? "0" : "") + number; }
  all("[data-until]", function (clock) {
    var until = Date.parse(clock.getAttribute("data-until"));
    function tick() {
      var left = Math.round((until - Date.now()) / 1000), size = Math.abs(left);
      var told = size < 6000 ? Math.floor(size / 60) + ":" + two(size % 60) : Math.floor(size / 3600) + " h " + Math.floor(size % 3600 / 60) + " min";
      clock.textContent = (left < 0 ? "over by " : "") + told;
      clock.className = left < 0 ? "time up" : "time";
      if (left === 0 && navigator.vibrate) { navigator.vibrate([300, 150, 300]); }
      var then = clock.parentNode.nextElementSibling;
      if (then && /\bthen\b/.test(then.className)) { then.className = left < 0 ? "then up" : "then"; }
    }
    tick();
    setInterval(tick, 1000);
  });

  var work = document.getElementById("work");
  if (work && window.EventSource) {
    var source = new EventSource(work.getAttribute("data-events"));
    source.onmessage = function (event) {
      var told = JSON.parse(event.data);
      document.getElementById("stage").textContent = told.stage;
      if (told.state === "done" && told.leads_to && !told.sentence) { source.close(); location.replace(told.leads_to); }
      else if (told.state !== "waiting" && told.state !== "running") { source.close(); location.reload(); }
    };
  } else if (work) { setTimeout(function () { location.reload(); }, 2000); }

  /* A form is sent once: the server would make no second entry, but the person should see that it went. */
  all("form.entry", function (form) {
    form.addEventListener("submit", function (event) {
      if (form.getAttribute("data-sent")) { event.preventDefault(); return; }
      if (form.hasAttribute("data-upload") && window.FormData && event.cancelable) { event.preventDefault(); upload(form, 0); }
      form.setAttribute("data-sent", "yes");
      setTimeout(function () { if (!form.hasAttribute("data-upload")) { form.removeAttribute("data-sent"); } }, 5000);
    });
  });
  window.addEventListener("pageshow", function () { all("form.entry", function (form) { form.removeAttribute("data-sent"); }); });

  function upload(form, tries) {
    var tell = form.querySelector(".progress"), ask = new XMLHttpRequest();
    function say(words) { tell.hidden = false; tell.textContent = words; }
    ask.open("POST", form.action);
    ask.upload.onprogress = function (event) { if (event.lengthComputable) { say("Sending: " + Math.floor(100 * event.loaded / event.total) + " %"); } };
    ask.onload = function () {
      if (ask.status === 200) { location.assign(ask.responseURL); return; }
      if (ask.status === 422) { document.open(); document.write(ask.responseText); document.close(); return; }
      form.removeAttribute("data-sent");
      say(ask.responseText.length < 300 ? ask.responseText : "It was refused; open the page anew and send it again.");
    };
    ask.onerror = function () {
      if (tries > 20) { form.removeAttribute("data-sent"); say("The bench can't be reached. Send it again when it can; nothing is entered twice."); return; }
      say("The connection was lost; trying again.");
      setTimeout(function () { upload(form, tries + 1); }, Math.min(15000, 500 * Math.pow(2, tries)));
    };
    say("Sending");
    ask.send(new FormData(form));
  }

  var asking = document.querySelector("[data-draft]"), below = document.getElementById("draft");
  if (asking && below) {
    var form = asking.querySelector("form"), waiting = null, newest = 0;
    document.documentElement.className += " scripted";
    all(".script-none", function (part) { part.hidden = true; });
    form.addEventListener("input", function () { clearTimeout(waiting); waiting = setTimeout(draw, 350); });
    var draw = function () {
      var needed = ["aperture", "intercept"], ready = needed.every(function (name) { return form.elements[name].value.trim(); });
      if (!ready || !(form.elements.focal_ratio.value.trim() || form.elements.focal_length.value.trim())) { return; }
      if (!(form.elements.full_field.value.trim() || form.elements.minor.value.trim())) { return; }
      var words = [], number = ++newest, ask = new XMLHttpRequest();
      Array.prototype.forEach.call(form.elements, function (element) {
        if (element.name && element.name !== "token" && element.value) { words.push(encodeURIComponent(element.name) + "=" + encodeURIComponent(element.value)); }
      });
      ask.open("GET", asking.getAttribute("data-draft") + "?" + words.join("&"));
      ask.onload = function () { if (number === newest && ask.status === 200) { below.innerHTML = ask.responseText; } };
      ask.send();
    };
  }
})();
