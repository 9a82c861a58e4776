#include "emulator/rehearsal/incoming_edges.hpp"

#include <algorithm>
#include <cmath>

#include "plant/sensors/noise.hpp"

namespace stillrotor {
namespace {

/// Random numbers of their own, beside those of the plant's sensors.
plant::NoiseOf noise_of(io::LineId line) noexcept {
  return static_cast<plant::NoiseOf>(0x1000 + io::index(line));
}

}  // namespace

IncomingEdges::IncomingEdges(const RehearsedRoute& route, std::uint64_t seed)
    : route_(route), seed_(seed), bucket_(route.burst_edges) {}

void IncomingEdges::happens(const io::Edge& edge) {
  Line& line = lines_[io::index(edge.line)];
  ++line.number;
  if (route_.sampled_s <= 0.0) return comes(edge, line);
  const double sample = std::ceil(static_cast<double>(edge.at.count()) * 1e-12 / route_.sampled_s);
  const io::Time seen(std::llround(sample * route_.sampled_s * 1e12));
  look(seen.count() - 1);
  if (line.unseen) {
    line.unseen.reset();  // there and back between two samples
    gone_ += 2;
  } else {
    line.unseen = io::Edge{seen, edge.line, edge.level};
  }
}

/// Samples up to now: what has changed since the one before is seen.
void IncomingEdges::look(std::int64_t now_ps) {
  for (Line& line : lines_) {
    if (!line.unseen || line.unseen->at.count() > now_ps) continue;
    const io::Edge seen = *line.unseen;
    line.unseen.reset();
    comes(seen, line);
  }
}

void IncomingEdges::comes(io::Edge edge, Line& line) {
  if (!has_room(edge.at.count())) {
    ++line.lost;
    ++gone_;
    return;
  }
  const std::int64_t before_ps = line.stamp_ps;
  edge.at = io::Time(line.stamp_ps = stamp_ps(edge, line));
  const bool betrayed = edge.level == line.known;  // two rises, or two falls
  if (line.lost > 0 && (route_.lines.finds_loss || betrayed)) {
    if (!line.gap) line.gap = io::Gap{io::Time(before_ps), edge.at, edge.line, 0};
    line.gap->to = edge.at;
    if (route_.lines.finds_loss) {
      line.gap->lost += line.lost;
      counts_.lost_edges += line.lost;
    }
  }
  line.lost = 0;
  line.known = edge.level;
  const auto behind =
      std::upper_bound(waiting_.begin(), waiting_.end(), edge,
                       [](const io::Edge& a, const io::Edge& b) { return a.at < b.at; });
  waiting_.insert(behind, edge);
}

bool IncomingEdges::has_room(std::int64_t at_ps) noexcept {
  bucket_ =
      std::min(route_.burst_edges,
               bucket_ + route_.lines.edges_in_per_s * 1e-12 *
                             static_cast<double>(std::max<std::int64_t>(at_ps - refilled_ps_, 0)));
  refilled_ps_ = std::max(refilled_ps_, at_ps);
  if (bucket_ < 1.0) return false;
  bucket_ -= 1.0;
  return true;
}

std::int64_t IncomingEdges::stamp_ps(const io::Edge& edge, Line& line) const noexcept {
  double late_s = route_.skew_left_s[io::index(edge.line)];
  if (edge.level != io::Level::high) late_s = -late_s;
  if (route_.lines.stamp_jitter_s > 0.0)
    late_s +=
        route_.lines.stamp_jitter_s *
        plant::normal_noise(seed_, noise_of(edge.line), static_cast<std::int64_t>(line.number));
  return std::max<std::int64_t>(edge.at.count() + std::llround(late_s * 1e12), line.stamp_ps);
}

void IncomingEdges::hand_over(std::int64_t now_ps, io::EdgeBatch& batch) {
  look(now_ps);
  auto next = waiting_.begin();
  for (; next != waiting_.end() && next->at.count() <= now_ps &&
         batch.edge_count < io::EdgeBatch::most_edges;
       ++next) {
    batch.edges[batch.edge_count++] = *next;
    ++counts_.edges;
  }
  waiting_.erase(waiting_.begin(), next);
  for (Line& line : lines_) {
    if (!line.gap || batch.gap_count == io::EdgeBatch::most_gaps) continue;
    batch.gaps[batch.gap_count++] = *line.gap;
    line.gap.reset();
    ++counts_.gaps;
  }
}

}  // namespace stillrotor
