#include "emulator/handover/dropping_sink.hpp"

#include <algorithm>

namespace stillrotor {
namespace {

template <class T, std::size_t most>
using Queue = boost::lockfree::spsc_queue<T, boost::lockfree::capacity<most>>;

template <std::size_t most>
struct FixedText {
  std::array<char, most> chars;
  std::size_t length = 0;

  void set(std::string_view text) noexcept {
    length = std::min(text.size(), most);
    std::copy_n(text.begin(), length, chars.begin());
  }
  std::string_view view() const noexcept { return {chars.data(), length}; }
};

}  // namespace

struct DroppingSink::FixedMark {
  MarkKind kind = MarkKind::event;
  std::int64_t at_ps = 0, to_ps = 0;
  FixedText<64> name;
  FixedText<160> detail;
};

struct DroppingSink::Queues {
  Queue<Frame, frames_most> frames;
  Queue<LineEdge, edges_most> edges;
  Queue<FixedMark, marks_most> marks;
};

DroppingSink::DroppingSink(std::string_view name, std::string_view detail)
    : loss_name_(name), loss_detail_(detail), queues_(std::make_unique<Queues>()) {}
DroppingSink::~DroppingSink() = default;

void DroppingSink::frame(const Frame& frame) noexcept {
  if (queues_->frames.push(frame)) {
    tell_loss(false);
    return;
  }
  ++dropped_.frames;
  lose(frame.at_ps, frame.at_ps);
}

void DroppingSink::edges(std::span<const LineEdge> several) noexcept {
  const std::size_t taken = queues_->edges.push(several.data(), several.size());
  if (taken < several.size()) count_lost(several.subspan(taken));
}

bool DroppingSink::has_room_for_edges(std::size_t count) const noexcept {
  return queues_->edges.write_available() >= count;
}

void DroppingSink::count_lost(std::span<const LineEdge> several) noexcept {
  dropped_.edges += several.size();
  lose(several.front().at_ps, several.back().at_ps);
}

void DroppingSink::mark(MarkKind kind, std::int64_t at_ps, std::string_view name,
                        std::string_view detail, std::int64_t to_ps) noexcept {
  if (push_mark(kind, at_ps, name, detail, to_ps)) return;
  ++dropped_.marks;
  lose(at_ps, std::max(at_ps, to_ps));
}

bool DroppingSink::push_mark(MarkKind kind, std::int64_t at_ps, std::string_view name,
                             std::string_view detail, std::int64_t to_ps) noexcept {
  FixedMark mark;
  mark.kind = kind;
  mark.at_ps = at_ps;
  mark.to_ps = to_ps;
  mark.name.set(name);
  mark.detail.set(detail);
  return queues_->marks.push(mark);
}

void DroppingSink::lose(std::int64_t from_ps, std::int64_t to_ps) noexcept {
  lost_from_ps_ = losing_ ? std::min(lost_from_ps_, from_ps) : from_ps;
  lost_to_ps_ = losing_ ? std::max(lost_to_ps_, to_ps) : to_ps;
  losing_ = true;
}

/// Not before the writer has made real room: one that just keeps up would give a mark a frame.
bool DroppingSink::tell_loss(bool now) noexcept {
  if (!losing_) return true;
  if (!now && (queues_->frames.write_available() < frames_most / 2 ||
               queues_->edges.write_available() < edges_most / 2))
    return false;
  if (!push_mark(MarkKind::gap, lost_from_ps_, loss_name_, loss_detail_, lost_to_ps_)) return false;
  losing_ = false;
  return true;
}

bool DroppingSink::deliver(RunSink& to) noexcept {
  bool any = false;
  any |= queues_->frames.consume_all([&](const Frame& frame) { to.frame(frame); }) > 0;
  std::array<LineEdge, 512> some;
  while (const std::size_t count = queues_->edges.pop(some.data(), some.size())) {
    to.edges({some.data(), count});
    any = true;
  }
  any |= queues_->marks.consume_all([&](const FixedMark& mark) {
    to.mark(mark.kind, mark.at_ps, mark.name.view(), mark.detail.view(), mark.to_ps);
  }) > 0;
  return any;
}

}  // namespace stillrotor
