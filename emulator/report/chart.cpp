#include "emulator/report/chart.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>

#include "emulator/handover/markup.hpp"
#include "emulator/judge/wording.hpp"
#include "emulator/report/ticks.hpp"

namespace stillrotor {
namespace {

constexpr double left = 88.0, right = 8.0, top = 8.0, bottom = 24.0, wide = 960.0;
constexpr double chart_height = 150.0, square_side = 400.0, trace_height = 16.0, trace_pitch = 22.0;
constexpr int colours = 7;

/// From the axes' numbers to the drawing's.
class Drawing {
 public:
  Drawing(const Axis& x, const Axis& y, double width, double height, std::string_view title)
      : x_(x), y_(y), width_(width), height_(height) {
    fmt::format_to(out(),
                   "<svg viewBox=\"0 0 {:g} {:g}\" role=\"img\" aria-label=\"{}\">"
                   "<title>{}</title>",
                   width_, height + top + bottom, escaped(title), escaped(title));
  }

  double px(double value) const {
    return left + (value - x_.low) / (x_.high - x_.low) * (width_ - left - right);
  }
  double py(double value) const { return top + (y_.high - value) / (y_.high - y_.low) * height_; }

  void x_axis() {
    for (const double at : ticks(x_.low, x_.high, 10))
      fmt::format_to(out(),
                     "<path class=\"grid\" d=\"M{0:.1f} {1:g}V{2:g}\"/><text x=\"{0:.1f}\" "
                     "y=\"{3:g}\" text-anchor=\"{4}\">{5}</text>",
                     px(at), top, top + height_, top + height_ + 16.0,
                     px(at) > width_ - right - 12.0 ? "end" : "middle", number_text(at, 6));
    fmt::format_to(out(),
                   "<text x=\"{:g}\" y=\"{:g}\" text-anchor=\"end\" class=\"unit\">{}</text>",
                   left - 8.0, top + height_ + 16.0, escaped(x_.unit));
  }
  void y_axis() {
    for (const double at : ticks(y_.low, y_.high, 4))
      fmt::format_to(out(),
                     "<path class=\"{0}\" d=\"M{1:g} {2:.1f}H{3:g}\"/><text x=\"{4:g}\" "
                     "y=\"{5:.1f}\" text-anchor=\"end\">{6}</text>",
                     at == 0.0 ? "zero" : "grid", left, py(at), width_ - right, left - 6.0,
                     py(at) + 4.0, number_text(at, 4));
  }
  /// The faults' words, one below the other, on the side where there is room.
  void flags(const std::vector<TimeMark>& all) {
    double y = top + 12.0;
    for (const TimeMark& mark : all) {
      if (!mark.fault || mark.at < x_.low || mark.at > x_.high || y > top + height_) continue;
      const double x = px(mark.at);
      const bool before = x > 0.6 * width_;
      fmt::format_to(out(),
                     "<text x=\"{:.1f}\" y=\"{:g}\" text-anchor=\"{}\" class=\"flag\">{}</text>",
                     x + (before ? -5.0 : 5.0), y, before ? "end" : "start", escaped(mark.text));
      y += 14.0;
    }
  }
  void marks(const std::vector<TimeMark>& all) {
    for (const TimeMark& mark : all) {
      if (mark.at < x_.low || mark.at > x_.high) continue;
      fmt::format_to(out(), "<path class=\"{}\" d=\"M{:.1f} {:g}V{:g}\"><title>{}</title></path>",
                     mark.fault ? "fault" : "mark", px(mark.at), top, top + height_,
                     escaped(mark.text));
    }
  }
  void curve(const Curve& curve, int colour) {
    const bool band = curve.low != curve.high;
    std::string path, back;
    bool open = false;
    const auto close = [&] {
      if (open && band) path += back + "Z";
      back.clear();
      open = false;
    };
    for (std::size_t k = 0; k < curve.x.size(); ++k) {
      if (std::isnan(curve.high[k])) {
        close();
        continue;
      }
      const double x = px(curve.x[k]);
      fmt::format_to(std::back_inserter(path), "{}{:.1f} {:.1f}", open ? 'L' : 'M', x,
                     py(curve.high[k]));
      if (band) back = fmt::format("L{:.1f} {:.1f}", x, py(curve.low[k])) + back;
      open = true;
    }
    close();
    fmt::format_to(out(), "<path class=\"{} s{}\" d=\"{}\"><title>{}</title></path>",
                   band ? "band" : "line", colour, path, escaped(curve.name));
  }
  void trace(const Trace& trace, double base) {
    fmt::format_to(out(), "<text x=\"{:g}\" y=\"{:.1f}\" text-anchor=\"end\">{}</text>", left - 6.0,
                   base - 3.0, escaped(trace.name));
    const std::size_t n = trace.columns.size();
    std::string path, busy;
    double before = -1.0;
    const auto x = [&](std::size_t k) {
      return left + (width_ - left - right) * static_cast<double>(k) / static_cast<double>(n);
    };
    for (std::size_t k = 0; k < n;) {
      std::size_t end = k;
      while (end < n && trace.columns[end] == trace.columns[k]) ++end;
      if (trace.columns[k] == LineColumn::both) {
        fmt::format_to(std::back_inserter(busy), "M{0:.1f} {1:.1f}H{2:.1f}V{3:.1f}H{0:.1f}Z", x(k),
                       base, x(end), base - trace_height);
        before = -1.0;
      } else {
        const double y = trace.columns[k] == LineColumn::high ? base - trace_height : base;
        if (before < 0.0)
          fmt::format_to(std::back_inserter(path), "M{:.1f} {:.1f}", x(k), y);
        else
          fmt::format_to(std::back_inserter(path), "V{:.1f}", y);
        fmt::format_to(std::back_inserter(path), "H{:.1f}", x(end));
        before = y;
      }
      k = end;
    }
    fmt::format_to(out(), "<path class=\"busy\" d=\"{}\"/><path class=\"line s1\" d=\"{}\"/>", busy,
                   path);
  }

  std::string done() { return text_ + "</svg>"; }

 private:
  std::back_insert_iterator<std::string> out() { return std::back_inserter(text_); }

  Axis x_, y_;
  double width_, height_;
  std::string text_;
};

std::string legend(const std::vector<Curve>& curves) {
  std::string text = "<p class=\"legend\">";
  for (std::size_t k = 0; k < curves.size(); ++k)
    text += fmt::format("<span class=\"k{}\">{}</span> ", k % colours + 1, escaped(curves[k].name));
  return text + "</p>";
}

std::string framed(std::string_view title, std::string_view unit, const std::string& legend,
                   const std::string& drawing, bool square = false) {
  return fmt::format("<figure{}><figcaption><b>{}</b> {}{}</figcaption>{}</figure>",
                     square ? " class=\"square\"" : "", escaped(title), escaped(unit), legend,
                     drawing);
}

}  // namespace

Axis fitted(Axis axis, const std::vector<Curve>& curves) {
  double low = HUGE_VAL, high = -HUGE_VAL;
  for (const Curve& curve : curves)
    for (std::size_t k = 0; k < curve.high.size(); ++k) {
      if (std::isnan(curve.high[k])) continue;
      low = std::min(low, curve.low[k]);
      high = std::max(high, curve.high[k]);
    }
  if (low > high || (low == 0.0 && high == 0.0)) low = 0.0, high = 1.0;
  const double size = std::max({high - low, 0.02 * std::max(std::abs(low), std::abs(high)), 1e-9});
  if (low > 0.0 && low < size) low = 0.0;
  if (high < 0.0 && -high < size) high = 0.0;
  axis.low = low - 0.05 * size;
  axis.high = high + 0.05 * size;
  return axis;
}

void equal_scale(Axis& one, Axis& other) {
  const double length = std::max(one.high - one.low, other.high - other.low);
  for (Axis* axis : {&one, &other}) {
    const double middle = 0.5 * (axis->low + axis->high);
    axis->low = middle - 0.5 * length;
    axis->high = middle + 0.5 * length;
  }
}

std::string svg(const Chart& chart) {
  Drawing drawing(chart.x, chart.y, chart.square ? square_side + left + right : wide,
                  chart.square ? square_side : chart_height, chart.title);
  drawing.x_axis();
  drawing.y_axis();
  drawing.marks(chart.marks);
  for (std::size_t k = 0; k < chart.curves.size(); ++k)
    drawing.curve(chart.curves[k], static_cast<int>(k) % colours + 1);
  if (chart.flags) drawing.flags(chart.marks);
  return framed(chart.title, chart.y.unit.empty() ? "" : "in " + chart.y.unit,
                chart.curves.size() > 1 ? legend(chart.curves) : "", drawing.done(), chart.square);
}

std::string svg(const TraceChart& chart) {
  const double height = trace_pitch * static_cast<double>(chart.traces.size());
  Drawing drawing(chart.x, {}, wide, height, chart.title);
  drawing.x_axis();
  drawing.marks(chart.marks);
  for (std::size_t k = 0; k < chart.traces.size(); ++k)
    drawing.trace(chart.traces[k], top + trace_pitch * static_cast<double>(k + 1) - 3.0);
  return framed(chart.title, "", "", drawing.done());
}

}  // namespace stillrotor
