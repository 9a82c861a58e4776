// Carries what a run produces from the thread that computes to the thread that writes.
// Batches instead of single values: one hand-over per some milliseconds of the run, and the order
// between frames, edges and marks of a run survives.
// RT: take_free() and hand_over() are wait-free and never allocate; one producer, one consumer.
#pragma once

#include <array>
#include <boost/lockfree/spsc_queue.hpp>
#include <cstddef>
#include <memory>
#include <string>
#include <vector>

#include "emulator/handover/frame.hpp"

namespace stillrotor {

struct Mark {
  MarkKind kind = MarkKind::event;
  std::int64_t at_ps = 0, to_ps = 0;
  std::string name, detail;
};

struct Batch {
  static constexpr std::size_t most_frames = 64, most_edges = 512;
  std::array<Frame, most_frames> frames;
  std::array<LineEdge, most_edges> edges;
  std::size_t frame_count = 0, edge_count = 0;
  std::vector<Mark> marks;

  bool empty() const noexcept { return frame_count == 0 && edge_count == 0 && marks.empty(); }
  void clear() noexcept {
    frame_count = edge_count = 0;
    marks.clear();
  }
};

class BatchRing {
 public:
  static constexpr std::size_t batch_count = 64;

  BatchRing() {
    for (Batch& batch : *batches_) spare_[spare_count_++] = &batch;
  }

  // Producer.
  /// An empty batch, or nullptr while the consumer holds all of them. The one that came back last,
  /// for it may still be in a cache: few are in use where the consumer keeps up.
  Batch* take_free() noexcept {
    while (Batch* batch = pop(returned_)) spare_[spare_count_++] = batch;
    return spare_count_ > 0 ? spare_[--spare_count_] : nullptr;
  }
  void hand_over(Batch* batch) noexcept { filled_.push(batch); }

  // Consumer.
  /// The oldest filled batch, or nullptr.
  Batch* next() noexcept { return pop(filled_); }
  void give_back(Batch* batch) noexcept {
    batch->clear();
    returned_.push(batch);
  }

 private:
  using Queue = boost::lockfree::spsc_queue<Batch*, boost::lockfree::capacity<batch_count>>;

  static Batch* pop(Queue& queue) noexcept {
    Batch* batch = nullptr;
    queue.pop(batch);
    return batch;
  }

  std::unique_ptr<std::array<Batch, batch_count>> batches_ =
      std::make_unique<std::array<Batch, batch_count>>();
  Queue returned_, filled_;
  std::array<Batch*, batch_count> spare_{};  // the producer's
  std::size_t spare_count_ = 0;
};

}  // namespace stillrotor
