#include "emulator/record/recorder.hpp"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <optional>
#include <span>
#include <thread>
#include <utility>

#include "emulator/handover/batch_ring.hpp"
#include "emulator/record/record_layout.hpp"
#include "emulator/record/record_stream.hpp"

namespace stillrotor {
namespace {

using Clock = std::chrono::steady_clock;
using namespace std::chrono_literals;

constexpr auto flush_every = 500ms;
// For new batches, when there are none: seldom, since each look takes the processor from whoever
// computes where they share one; sooner where the ring might run full meanwhile.
constexpr auto look_every = 4ms, look_soon = 1ms;
constexpr std::size_t many_batches = BatchRing::batch_count / 4;
constexpr double batch_longest_s = 5e-3;  // of the run; bounds what a kill can lose

std::size_t frames_per_batch(double rate_Hz) {
  const double wanted = std::clamp(rate_Hz * batch_longest_s, 1.0, double{Batch::most_frames});
  return static_cast<std::size_t>(wanted);
}

}  // namespace

struct Recorder::Impl {
  Impl(const std::filesystem::path& folder, const RecordHeader& header)
      : frames_per_batch(stillrotor::frames_per_batch(header.rate_Hz)),
        stream(folder / layout::file_name, header),
        writer([this] { write_until_closed(); }) {}

  // Producer.
  Batch& batch() noexcept {
    while (filling == nullptr) {
      filling = ring.take_free();
      if (filling == nullptr) std::this_thread::sleep_for(100us);
    }
    return *filling;
  }
  void hand_over() noexcept {
    if (filling != nullptr) ring.hand_over(std::exchange(filling, nullptr));
  }
  void close() noexcept {
    open = false;
    hand_over();
    {
      const std::lock_guard lock(asleep);
      closed.store(true, std::memory_order_release);
    }
    wake.notify_one();
    if (writer.joinable()) writer.join();
  }

  // Writer thread.
  void write_until_closed() noexcept;

  // Producer's.
  BatchRing ring;
  Batch* filling = nullptr;
  bool open = true;
  std::uint64_t lost = 0;
  const std::size_t frames_per_batch;
  std::atomic<bool> closed = false;
  std::mutex asleep;  // the writer, until there should be something, or `closed` wakes it
  std::condition_variable wake;

  // Writer's until it has ended.
  RecordStream stream;
  RecordSummary summary;

  // Set before `closed`.
  std::optional<std::int64_t> end_ps;

  std::thread writer;  // last: everything above exists when it starts
};

void Recorder::Impl::write_until_closed() noexcept {
  auto flush_at = Clock::now() + flush_every;
  for (std::size_t found = 0;;) {
    // Before looking for a batch: one that was handed over before closing is then seen.
    const bool last = closed.load(std::memory_order_acquire);
    if (Batch* batch = ring.next()) {
      stream.add(*batch);
      ring.give_back(batch);
      ++found;
    } else if (last) {
      break;
    } else {
      std::unique_lock lock(asleep);
      wake.wait_for(lock, found < many_batches ? look_every : look_soon,
                    [this] { return closed.load(std::memory_order_relaxed); });
      found = 0;
    }
    if (const auto now = Clock::now(); now >= flush_at) {
      stream.flush();
      flush_at = now + flush_every;
    }
  }
  summary = stream.finish(end_ps);
}

Recorder::Recorder(const std::filesystem::path& folder, const RecordHeader& header)
    : impl_(std::make_unique<Impl>(folder, header)) {}

Recorder::~Recorder() { impl_->close(); }

void Recorder::frame(const Frame& frame) noexcept {
  if (!impl_->open) return;
  Batch& batch = impl_->batch();
  batch.frames[batch.frame_count++] = frame;
  if (batch.frame_count == impl_->frames_per_batch) impl_->hand_over();
}

void Recorder::edges(std::span<const LineEdge> edges) noexcept {
  if (!impl_->open) return;
  const auto unknown = [](const LineEdge& edge) { return edge.line >= io::line_count; };
  const bool all_known = std::none_of(edges.begin(), edges.end(), unknown);
  while (!edges.empty()) {
    Batch& batch = impl_->batch();
    const auto few = edges.first(std::min(edges.size(), Batch::most_edges - batch.edge_count));
    const auto to = batch.edges.begin() + static_cast<std::ptrdiff_t>(batch.edge_count);
    const auto end = all_known ? std::copy(few.begin(), few.end(), to)
                               : std::remove_copy_if(few.begin(), few.end(), to, unknown);
    const auto taken = static_cast<std::size_t>(end - to);
    batch.edge_count += taken;
    impl_->lost += few.size() - taken;
    if (batch.edge_count == Batch::most_edges) impl_->hand_over();
    edges = edges.subspan(few.size());
  }
}

void Recorder::mark(MarkKind kind, std::int64_t at_ps, std::string_view name,
                    std::string_view detail, std::int64_t to_ps) noexcept {
  if (!impl_->open) return;
  impl_->batch().marks.push_back({kind, at_ps, to_ps, std::string(name), std::string(detail)});
  impl_->hand_over();
}

RecordSummary Recorder::finish(std::int64_t end_ps) noexcept {
  if (impl_->open) impl_->end_ps = end_ps;
  impl_->close();
  impl_->summary.lost = impl_->lost;
  return impl_->summary;
}

}  // namespace stillrotor
