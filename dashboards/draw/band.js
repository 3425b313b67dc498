// A series of the chart library: the range of a line over the months, as one
// shape for each run of months that has one. Its data is rows of month, low and
// high; it is drawn as a whole with its first.
if (typeof echarts !== "undefined") echarts.registerCustomSeries("band", function (params, api) {
  if (params.dataIndex > 0) return null;
  var tint = { fill: api.visual("color") }, edge = { fill: "none", stroke: api.visual("borderColor"), lineWidth: 1 }, shapes = [];
  function shape(type, points, style) { shapes.push({ type: type, shape: { points: points }, style: style }); }
  function line(points) { shape("polyline", points, edge); }
  function draw(low, high) {
    if (low.length === 1) { // a bar: a band of one month would not be seen
      [low[0], high[0]].forEach(function (p) { line([[p[0] - 2, p[1]], [p[0] + 2, p[1]]]); });
      return line([low[0], high[0]]);
    }
    shape("polygon", high.concat(low.slice().reverse()), tint);
    line(high);
    line(low);
  }
  for (var i = 0, low = [], high = []; i <= params.dataInsideLength; i++) {
    var lo = api.value(1, i), hi = api.value(2, i);
    if (i < params.dataInsideLength && lo <= hi) {
      low.push(api.coord([i, lo]));
      high.push(api.coord([i, hi]));
    } else if (low.length) {
      draw(low, high);
      low = [];
      high = [];
    }
  }
  return { type: "group", children: shapes };
});
