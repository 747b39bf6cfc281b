// Shows only the entries that hold every word; headings without an entry go too. Entries whose own name holds the
// words are listed under the field. Nothing leaves this page.
(function () {
  var box = document.getElementById("words"), told = document.getElementById("found");
  var hits = document.getElementById("hits"), most = 12;
  var entries = Array.prototype.slice.call(document.querySelectorAll(".e"));
  var chapters = Array.prototype.slice.call(document.querySelectorAll(".chapter"));
  var titles = entries.map(function (e) { return e.querySelector("h3, h4, b, td, p").firstChild.textContent.trim(); });
  var places = entries.map(function (e) { return e.closest(".chapter").querySelector("h2").textContent; });
  var texts = entries.map(function (e, i) { return (places[i] + " " + e.textContent).toLowerCase(); });
  document.getElementById("find").hidden = false;

  function list(words) {
    hits.textContent = "";
    entries.forEach(function (e, i) {
      var title = titles[i].toLowerCase();
      if (!words.length || hits.children.length >= most) { return; }
      if (!words.every(function (w) { return title.indexOf(w) >= 0; })) { return; }
      var link = document.createElement("a"), item = document.createElement("li");
      link.href = "#" + e.id;
      link.textContent = titles[i];
      item.appendChild(link);
      item.appendChild(document.createTextNode(" (" + places[i] + ")"));
      hits.appendChild(item);
    });
  }

  function show() {
    var words = box.value.toLowerCase().split(/\s+/).filter(Boolean), count = 0;
    entries.forEach(function (e, i) {
      var in_it = words.every(function (w) { return texts[i].indexOf(w) >= 0; });
      e.hidden = !in_it;
      count += in_it ? 1 : 0;
    });
    chapters.forEach(function (c) { c.hidden = words.length > 0 && !c.querySelector(".e:not([hidden])"); });
    document.querySelectorAll(".group").forEach(function (h) {
      var next = h.nextElementSibling, any = false;
      while (next && !next.classList.contains("group")) {
        any = any || !next.hidden;
        next = next.nextElementSibling;
      }
      h.hidden = words.length > 0 && !any;
    });
    list(words);
    document.body.classList.toggle("searching", words.length > 0);
    told.textContent = words.length ? (count ? count + " of " + entries.length + " entries" : "nothing holds all of these words") : "";
  }

  // A link may lead to what the search hides: then everything is shown again.
  function follow() {
    var at = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!at) { return; }
    if (at.closest("[hidden]")) { box.value = ""; show(); }
    for (var d = at.closest("details"); d; d = d.parentElement.closest("details")) { d.open = true; }
    at.scrollIntoView();
  }

  box.addEventListener("input", show);
  window.addEventListener("hashchange", follow);
  document.addEventListener("keydown", function (event) {
    if (event.key === "/" && document.activeElement !== box) { event.preventDefault(); box.focus(); box.select(); }
    if (event.key === "Escape" && document.activeElement === box) { box.value = ""; show(); }
  });
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details").forEach(function (d) { d.open = true; });
  });
  show();
  follow();
})();
