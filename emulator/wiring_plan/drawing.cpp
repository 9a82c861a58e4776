#include <fmt/format.h>

#include "emulator/handover/markup.hpp"
#include "emulator/wiring_plan/wiring_plan.hpp"

namespace stillrotor {
namespace {

constexpr int width = 1000, margin = 24, row_height = 28, line_height = 20;
constexpr int bench_x = 220, controller_x = 640;  // edges of the two boxes

std::string text(int x, int y, const std::string& what, const char* more = "") {
  return fmt::format("<text x=\"{}\" y=\"{}\"{}>{}</text>\n", x, y, more, escaped(what));
}

}  // namespace

std::string drawing(const WiringPlan& plan) {
  const int top = margin + line_height * (static_cast<int>(plan.cautions.size()) + 2) + 30;
  const int rows = static_cast<int>(plan.wires.size());
  const int height = top + rows * row_height + 2 * margin;
  std::string svg = fmt::format(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0} {1}\" width=\"{0}\" "
      "height=\"{1}\" font-family=\"sans-serif\" font-size=\"13\" role=\"img\">\n"
      "<title>{2}: wiring</title>\n"
      "<defs><marker id=\"tip\" viewBox=\"0 0 8 8\" refX=\"8\" refY=\"4\" markerWidth=\"8\" "
      "markerHeight=\"8\" orient=\"auto-start-reverse\"><path d=\"M0 0L8 4L0 "
      "8z\"/></marker></defs>\n"
      "<rect width=\"{0}\" height=\"{1}\" fill=\"white\"/>\n",
      width, height, escaped(plan.title));
  int y = margin + line_height;
  svg += text(margin, y, plan.title, " font-size=\"18\" font-weight=\"bold\"");
  for (const std::string& caution : plan.cautions)
    svg += text(margin, y += line_height, "! " + caution, " font-weight=\"bold\"");
  svg += text(margin, top - 12, "bench", " font-weight=\"bold\"");
  svg += text(controller_x + 12, top - 12, "controller under test", " font-weight=\"bold\"");
  for (const auto& [from, to] :
       {std::pair(margin, bench_x), std::pair(controller_x, width - margin)})
    svg += fmt::format(
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"black\"/>\n",
        from, top, to - from, rows * row_height + 8);
  y = top + row_height / 2 + 8;
  for (const Wire& wire : plan.wires) {
    svg += text(margin + 8, y, wire.bench_pin);
    svg += text(controller_x + 12, y,
                wire.signal + (wire.controller == "-" ? "" : ": " + wire.controller) + "  (" +
                    wire.level + ")");
    svg += fmt::format(
        "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" stroke=\"black\" {}=\"url(#tip)\"/>\n",
        bench_x, y - 4, controller_x, y - 4, wire.to_controller ? "marker-end" : "marker-start");
    svg += text(bench_x + 16, y - 8, wire.protection, " font-size=\"10\"");
    y += row_height;
  }
  return svg + "</svg>\n";
}

}  // namespace stillrotor
