// Wakes the line figures: the chart library draws each again from its option,
// and the row of its table under the pointer is read out below it. Gives long
// tables and long lists of links a field to filter them. Without this script a
// page shows the same figures, rows and links.
(function () {
  "use strict";
  var say = {}; // the language of the pages: layout puts its words here
  var root = document.documentElement;
  var plots = Array.prototype.slice.call(document.querySelectorAll("[data-plot]"));

  // sentence reads a month's row of a table: "February 2024: cost a day 4.80; ...".
  // A row may stand for a run of months.
  function sentence(table, i) {
    var rows = table ? table.tBodies[0].rows : [], at = 0;
    while (at < rows.length && i >= (+rows[at].dataset.spans || 1)) i -= +rows[at++].dataset.spans || 1;
    var row = rows[at];
    if (!row) return "";
    var heads = table.tHead.rows[0].cells, words = [];
    for (var k = 1; k < row.cells.length; k++) {
      var said = row.cells[k].textContent;
      if (said) words.push(row.cells[k].classList.contains("miss") ? said : heads[k].textContent + " " + said);
    }
    return row.cells[0].textContent + ": " + words.join("; ");
  }

  // figure prints a number of an axis with the marks of the language.
  function figure(value) {
    var parts = String(value).split(".");
    parts[0] = parts[0].replace(/\B(?=(\d{3})+$)/g, say.thousands);
    return parts.join(say.decimal);
  }

  // wake draws one plot; done is called once, also where nothing can be drawn.
  function wake(plot, done) {
    var width = plot.clientWidth;
    if (plot.woken || !width || !window.echarts) return done();
    plot.woken = true;
    var still = plot.querySelector("svg"), live = document.createElement("div"), out = document.createElement("p");
    live.className = "live";
    live.tabIndex = 0;
    live.setAttribute("role", "slider"); // through the months, each said in words
    live.setAttribute("aria-label", still.getAttribute("aria-label") + " " + say.keys);
    out.className = "read";
    live.style.height = still.getAttribute("height") + "px";
    plot.appendChild(live);
    plot.appendChild(out);
    var chart = echarts.init(live, null, { renderer: "svg", width: width, height: +still.getAttribute("height") });
    chart.on("finished", function () {
      plot.classList.add("awake");
      done();
      done = function () {};
    });
    var option = JSON.parse(plot.querySelector("script").textContent), last = option.xAxis[0].data.length - 1, month;
    function stand(at) {
      month = at;
      live.setAttribute("aria-valuenow", at);
      live.setAttribute("aria-valuetext", sentence(document.getElementById(plot.dataset.plot), at));
    }
    live.setAttribute("aria-valuemin", 0);
    live.setAttribute("aria-valuemax", last);
    stand(last);
    chart.on("updateAxisPointer", function (e) {
      var at = e.axesInfo && e.axesInfo[0];
      if (!at) return;
      stand(at.value);
      out.textContent = live.getAttribute("aria-valuetext");
    });
    live.addEventListener("keydown", function (e) {
      var to = { ArrowLeft: month - 1, ArrowRight: month + 1, Home: 0, End: last }[e.key];
      if (to === undefined || e.ctrlKey || e.altKey || e.metaKey || e.shiftKey) return;
      e.preventDefault();
      var at = chart.convertToPixel("grid", [Math.max(0, Math.min(last, to)), option.yAxis[0].min]);
      chart.dispatchAction({ type: "updateAxisPointer", currTrigger: "mousemove", x: at[0], y: at[1] - 2 });
    });
    if (say.decimal !== "." || say.thousands !== "") option.yAxis[0].axisLabel.formatter = figure;
    chart.setOption(option);
    plot.resize = function () { if (plot.clientWidth) chart.resize({ width: plot.clientWidth }); };
  }

  function wakeAll(ready) {
    var left = plots.length;
    if (!left) return ready();
    plots.forEach(function (p) { wake(p, function () { if (!--left) ready(); }); });
  }

  // plain is text as it is compared: small letters, one blank, one minus.
  function plain(text) { return text.toLowerCase().replace(/\s+/g, " ").replace(/\u2212/g, "-"); }

  function make(name, parent, text) {
    var e = document.createElement(name);
    if (text) e.textContent = text;
    return parent.appendChild(e);
  }

  function field(name, parent, words, change) {
    var label = make("label", parent, words + " "), e = make(name, label);
    if (name === "input") e.type = "search";
    e.addEventListener("input", change);
    return e;
  }

  // ordinal counts months: "2024-02" is 24290.
  function ordinal(month) { return +month.slice(0, -3) * 12 + +month.slice(-2); }

  // Filters by the part whose table they are of. What is asked of them stands
  // in the address, so that a link shows the same rows: #PART/MONTH/WORDS&PART/...
  var filters = {}, most = 12;

  function filter(table) {
    var rows = Array.prototype.slice.call(table.tBodies[0].rows);
    if (rows.length <= most) return;
    var bar = document.createElement("div"), scroll = table.parentNode, month;
    bar.className = "filter";
    scroll.parentNode.insertBefore(bar, scroll);
    var words = field("input", bar, say.rows, changed);
    var texts = rows.map(function (r) {
      return plain(Array.prototype.map.call(r.cells, function (c) { return c.textContent; }).join(" "));
    });
    var of = rows.map(function (r) {
      var first = r.dataset.month ? ordinal(r.dataset.month) : 0;
      return [first, first + (+r.dataset.spans || 1) - 1];
    });
    var first = Math.min.apply(null, of.map(function (m) { return m[0]; })), last = Math.max.apply(null, of.map(function (m) { return m[1]; }));
    if (first > 0 && last > first) {
      month = field("select", bar, say.month, changed);
      make("option", month, say.all).value = "";
      for (var m = last; m >= first; m--) {
        var year = Math.floor((m - 1) / 12), n = (m - 1) % 12;
        make("option", month, say.months[n].replace("{year}", year)).value = year + "-" + ("0" + (n + 1)).slice(-2);
      }
    }
    var out = make("p", bar);
    out.setAttribute("role", "status");

    function show() {
      var asked = plain(words.value).split(" "), at = month && month.value ? ordinal(month.value) : 0, shown = 0;
      rows.forEach(function (r, i) {
        r.hidden = !(asked.every(function (w) { return texts[i].indexOf(w) >= 0; }) && (!at || of[i][0] <= at && at <= of[i][1]));
        if (!r.hidden) shown++;
      });
      out.textContent = shown === rows.length ? "" : say.shown.replace("{shown}", shown).replace("{rows}", rows.length);
    }
    function changed() {
      show();
      write();
    }
    filters[table.id.slice(0, -6)] = { // less "-table"
      get: function () { return [month ? month.value : "", words.value]; },
      set: function (m, w) {
        words.value = w;
        if (month) month.value = m;
        if (month && month.selectedIndex < 0) month.value = ""; // no such month
        show();
        for (var e = table; (w || m) && e; e = e.parentElement) if (e.tagName === "DETAILS") e.open = true;
      }
    };
  }

  function write() {
    var parts = Object.keys(filters).map(function (id) { return [id].concat(filters[id].get()); })
      .filter(function (p) { return p[1] || p[2]; })
      .map(function (p) { return p.map(encodeURIComponent).join("/"); });
    history.replaceState(null, "", location.href.split("#")[0] + (parts.length ? "#" + parts.join("&") : ""));
  }

  function read() {
    var asked = {};
    location.hash.slice(1).split("&").forEach(function (part) {
      try {
        var p = part.split("/").map(decodeURIComponent);
        if (p.length === 3 && filters.hasOwnProperty(p[0])) asked[p[0]] = p;
      } catch (e) { /* an address that was cut: it asks for nothing */ }
    });
    Object.keys(filters).forEach(function (id) { filters[id].set(asked[id] ? asked[id][1] : "", asked[id] ? asked[id][2] : ""); });
    var first = Object.keys(asked)[0];
    if (first) document.getElementById(first).scrollIntoView();
  }

  Array.prototype.forEach.call(document.querySelectorAll("main table"), filter);
  read();
  window.addEventListener("hashchange", read);

  Array.prototype.forEach.call(document.querySelectorAll(".choose p"), function (list) {
    var links = Array.prototype.slice.call(list.querySelectorAll("a"));
    if (links.length <= most) return;
    var bar = document.createElement("div");
    bar.className = "filter";
    list.parentNode.insertBefore(bar, list);
    var words = field("input", bar, say.links.replace("{what}", list.querySelector("b").textContent), function () {
      links.forEach(function (a) { a.hidden = plain(a.textContent).indexOf(plain(words.value).trim()) < 0; });
    });
  });

  wakeAll(function () { root.setAttribute("data-ready", ""); });
  window.addEventListener("resize", function () {
    plots.forEach(function (p) { if (p.resize) p.resize(); });
    wakeAll(function () {});
  });
})();
