// Wakes the line figures: the chart library draws each again from its option,
// and the row of its table under the pointer is read out below it. Without
// this script a page shows the same figure and numbers.
(function () {
  "use strict";
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

  // wake draws one plot; done is called once, also where nothing can be drawn.
  function wake(plot, done) {
    var width = plot.clientWidth;
    if (plot.woken || !width || !window.echarts) return done();
    plot.woken = true;
    var still = plot.querySelector("svg"), live = document.createElement("div"), out = document.createElement("p");
    live.className = "live";
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
    chart.on("updateAxisPointer", function (e) {
      var at = e.axesInfo && e.axesInfo[0];
      if (at) out.textContent = sentence(document.getElementById(plot.dataset.plot), at.value);
    });
    chart.setOption(JSON.parse(plot.querySelector("script").textContent));
    plot.resize = function () { if (plot.clientWidth) chart.resize({ width: plot.clientWidth }); };
  }

  function wakeAll(ready) {
    var left = plots.length;
    if (!left) return ready();
    plots.forEach(function (p) { wake(p, function () { if (!--left) ready(); }); });
  }

  wakeAll(function () { root.setAttribute("data-ready", ""); });
  window.addEventListener("resize", function () {
    plots.forEach(function (p) { if (p.resize) p.resize(); });
    wakeAll(function () {});
  });
})();
