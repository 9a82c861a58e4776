#include "tests/io/link/support/end_to_end.hpp"

#include <chrono>
#include <memory>
#include <thread>

#include "io/link/stream.hpp"

namespace stillrotor::io {

Arrived send_over(FarEnd::Kind kind, std::uint64_t count) {
  constexpr std::int64_t patience = 30'000'000'000;
  Arrived got;
  FarEnd far(kind);
  auto captured = std::make_unique<CapturedEdges>(GateWires::six, 0.0);
  auto batch = std::make_unique<EdgeBatch>();
  LinkSettings settings = board_settings();
  settings.silent_ns = patience;  // a busy computer is no broken wire
  auto session = std::make_unique<LinkSession>(settings, *captured);
  LinkStream stream(parse_link_address(far.address()), *session);
  stream.start({});
  const auto nap = [] { std::this_thread::sleep_for(std::chrono::milliseconds(1)); };
  const std::int64_t begun = monotonic_ns();
  while (!(got.ran = session->status().running) && monotonic_ns() - begun < patience) nap();
  if (!got.ran) return got;
  captured->arm(monotonic_ns());
  LinkReport report;
  for (int k = 0; k < 50; ++k) nap();  // the levels at arming arrive: all off
  far.send_edges(count);
  std::int64_t last = monotonic_ns();
  while (got.edges < count && monotonic_ns() - last < patience) {
    nap();
    batch->clear();
    captured->read(*batch, monotonic_ns());
    for (std::size_t k = 0; k < batch->edge_count; ++k) {
      ++got.of_gate[index(batch->edges[k].line)];
      ++got.edges;
    }
    if (batch->edge_count > 0) last = monotonic_ns();
    got.gaps += batch->gap_count;
    far.taken(got.edges);
    while (session->next_report(report)) {
    }
  }
  stream.stop();
  got.status = session->status();
  return got;
}

}  // namespace stillrotor::io
