// Between the cycle, which never waits, and a sink that may: fixed room, wait-free on the cycle's
// side. What finds no room is counted and its stretch becomes a gap mark, so that a verdict knows.
// Time  ps since arming. Order holds within frames, edges and marks, not between them.
// RT: RunSink's calls are safe (one producer). deliver(): one other thread, may wait with its sink.
#pragma once

#include <array>
#include <boost/lockfree/spsc_queue.hpp>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <string_view>

#include "emulator/handover/frame.hpp"

namespace stillrotor {

struct DroppedCounts {
  std::uint64_t frames = 0, edges = 0, marks = 0;
  std::uint64_t all() const noexcept { return frames + edges + marks; }
};

class DroppingSink final : public RunSink {
 public:
  // At 20 kHz and a quarter of a million edges a second: some 0.4 s and 0.26 s of a stalled writer.
  static constexpr std::size_t frames_most = 8192, edges_most = 65'536, marks_most = 1024;

  /// name, detail: of the gap mark about a loss; they outlive the sink.
  explicit DroppingSink(
      std::string_view name = "record dropped",
      std::string_view detail = "the writer did not keep up, and the cycle does not wait");
  ~DroppingSink() override;

  void frame(const Frame&) noexcept override;
  void edge(const LineEdge& one) noexcept override { edges({&one, 1}); }
  void edges(std::span<const LineEdge>) noexcept override;
  /// Text beyond a mark's room is cut.
  void mark(MarkKind, std::int64_t at_ps, std::string_view name, std::string_view detail,
            std::int64_t to_ps = 0) noexcept override;
  /// The producer's: would so many edges find room now?
  bool has_room_for_edges(std::size_t) const noexcept;
  /// The producer's: as edges() that found no room.
  void count_lost(std::span<const LineEdge>) noexcept;
  /// The producer's last call: says what is still to be said of losses. False: no room for it yet.
  bool end() noexcept { return tell_loss(true); }
  /// Producer's; or anybody's once it has ended.
  const DroppedCounts& dropped() const noexcept { return dropped_; }

  /// Passes on what has come. Returns whether there was anything.
  bool deliver(RunSink&) noexcept;

 private:
  struct FixedMark;
  struct Queues;

  void lose(std::int64_t from_ps, std::int64_t to_ps) noexcept;
  bool tell_loss(bool now) noexcept;
  bool push_mark(MarkKind, std::int64_t at_ps, std::string_view name, std::string_view detail,
                 std::int64_t to_ps) noexcept;

  std::string_view loss_name_, loss_detail_;
  std::unique_ptr<Queues> queues_;
  DroppedCounts dropped_;
  bool losing_ = false;
  std::int64_t lost_from_ps_ = 0, lost_to_ps_ = 0;
};

}  // namespace stillrotor
