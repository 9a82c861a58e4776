#include "emulator/record/record_stream.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <exception>
#include <utility>

namespace stillrotor {
namespace {

constexpr const char* not_kept = "not kept";
constexpr const char* disk_full = "disk full";
constexpr std::uint64_t look_every = 200'000;  // edges, some 2 MB

std::int64_t ps(double seconds) { return std::llround(seconds * 1e12); }

bool by_time(const LineEdge& a, const LineEdge& b) { return a.at_ps < b.at_ps; }

}  // namespace

RecordStream::RecordStream(const std::filesystem::path& file, const RecordHeader& header)
    : keeping_(header.keeping),
      rate_Hz_(header.rate_Hz),
      before_ps_(ps(header.keeping.before_s)),
      after_ps_(ps(header.keeping.after_s)),
      held_(held_most + (keeping_.around_events
                             ? static_cast<std::size_t>(keeping_.before_s * rate_Hz_ /
                                                        static_cast<double>(layout::frame_chunk))
                             : 0)),
      file_(std::in_place, file, header) {
  open_slice(0);
}

template <class Do>
void RecordStream::with_file(Do&& act) noexcept {
  if (!file_) return;
  try {
    act(*file_);
  } catch (const std::exception& error) {
    if (summary_.failure.empty()) summary_.failure = error.what();
    file_.reset();
  }
}

RecordStream::Slice& RecordStream::open_slice(std::int64_t from_ps) {
  if (spare_.empty()) {
    slices_.push_back(std::make_unique<Slice>());
  } else {
    slices_.push_back(std::move(spare_.back()));
    spare_.pop_back();
  }
  Slice& slice = *slices_.back();
  slice.frames.clear();
  slice.edges.clear();
  slice.from_ps = slice.to_ps = from_ps;
  slice.flushed = 0;
  slice.wanted = !keeping_.around_events || from_ps < wanted_until_ps_;
  return slice;
}

/// That an instant belongs to: of those that still wait, the oldest where it is older.
RecordStream::Slice& RecordStream::slice_at(std::int64_t at_ps) noexcept {
  auto slice = slices_.rbegin();
  while (at_ps <= (*slice)->from_ps && std::next(slice) != slices_.rend()) ++slice;
  return **slice;
}

void RecordStream::add(const Batch& batch) noexcept {
  // First, so that what an event wants is there when its slice is looked at.
  for (const Mark& mark : batch.marks) add_mark(mark);
  const std::span edges(batch.edges.data(), batch.edge_count);
  hash_.add_edges(edges);
  add_edges(edges);
  add_frames({batch.frames.data(), batch.frame_count});
  summary_.frames += batch.frame_count;
  summary_.edges += batch.edge_count;
  summary_.marks += batch.marks.size();
}

/// Looks now and then; with less than that left, nothing can go wrong before the next look.
bool RecordStream::room() noexcept {
  since_look_ = 0;
  with_file([&](RecordFile& file) { room_ = file.has_room(); });
  return room_;
}

void RecordStream::add_edges(std::span<const LineEdge> edges) noexcept {
  if (edges.empty()) return;
  Slice& now = *slices_.back();
  const bool direct =
      slices_.size() == 1 && now.wanted && now.edges.empty() && gap_.name == nullptr;
  if (direct && room_ && (since_look_ += edges.size()) > look_every) room();
  if (direct && room_) {
    with_file([&](RecordFile& file) { file.add_edges(edges); });
    return;
  }
  for (const LineEdge& edge : edges) slice_at(edge.at_ps).edges.push_back(edge);
}

void RecordStream::add_frames(std::span<const Frame> frames) noexcept {
  while (!frames.empty()) {
    Slice& slice = *slices_.back();
    // A frame stands where its instant says: those that never came leave points without a value.
    const auto point = static_cast<std::uint64_t>(std::max(
        0.0, std::round(static_cast<double>(frames.front().at_ps) * 1e-12 * rate_Hz_) - 1));
    std::size_t taken = 0;
    if (point > points_) {
      points_ += slice.frames.pad(static_cast<std::size_t>(point - points_));
      slice.to_ps = std::llround(static_cast<double>(points_) / rate_Hz_ * 1e12);
    } else {
      // Those that follow in one go.
      const auto step_ps = static_cast<std::int64_t>(1.5e12 / rate_Hz_);
      std::size_t run = 1;
      while (run < frames.size() && frames[run].at_ps - frames[run - 1].at_ps < step_ps) ++run;
      taken = slice.frames.add(frames.first(run));
      points_ += taken;
      slice.to_ps = frames[taken - 1].at_ps;
    }
    newest_ps_ = slice.to_ps;
    frames = frames.subspan(taken);
    if (slice.frames.full()) complete_slice();
  }
}

void RecordStream::add_mark(const Mark& mark) noexcept {
  if (mark.kind == MarkKind::fault || mark.kind == MarkKind::event) want_around(mark.at_ps);
  // A talkative controller must not eat up what is held for a good end.
  if (!room_ && mark.kind == MarkKind::text) return;
  with_file([&](RecordFile& file) { file.add_mark(mark); });
}

void RecordStream::want_around(std::int64_t at_ps) noexcept {
  wanted_until_ps_ = std::max(wanted_until_ps_, at_ps + after_ps_);
  for (const auto& slice : slices_)
    if (slice == slices_.back() || slice->to_ps >= at_ps - before_ps_)
      slice->wanted = slice->wanted || slice->from_ps < wanted_until_ps_;
}

void RecordStream::summarise(const Slice& slice) noexcept {
  for (std::size_t k = 0; k < column_count; ++k) hash_.add_column(slice.frames.column(k));
  if (slice.frames.size() == 0) return;
  constexpr auto& points = layout::overview_points;
  OverviewRows rows = overview_rows(slice.frames, points[0]);
  for (std::size_t level = 0; level < layout::overview_levels; ++level) {
    if (level > 0) rows = coarser_rows(rows, points[level] / points[level - 1]);
    with_file([&](RecordFile& file) { file.add_overview(level, rows, room_); });
  }
}

void RecordStream::complete_slice() noexcept {
  Slice& done = *slices_.back();
  room();
  summarise(done);
  Slice& next = open_slice(done.to_ps);
  const auto later = std::find_if(done.edges.begin(), done.edges.end(),
                                  [&](const LineEdge& edge) { return edge.at_ps > done.to_ps; });
  next.edges.assign(later, done.edges.end());
  done.edges.erase(later, done.edges.end());
  settle();
}

/// Decides over slices, oldest first, as far as that can be done.
void RecordStream::settle() noexcept {
  while (slices_.size() > 1) {
    const Slice& front = *slices_.front();
    const bool settled = !keeping_.around_events || newest_ps_ - front.to_ps >= ps(settle_s);
    if (front.wanted) {
      if (room_ && settled)
        write_front();
      else if (!room_ && slices_.size() > held_)
        skip_front(disk_full);
      else
        return;
    } else if (newest_ps_ - front.to_ps > std::max(before_ps_, ps(settle_s))) {
      skip_front(not_kept);
    } else {
      return;
    }
  }
}

void RecordStream::write_edges(std::vector<LineEdge>& edges) noexcept {
  close_gap();
  if (edges.empty()) return;
  with_file([&](RecordFile& file) { file.add_edges(edges); });
  edges.clear();
}

void RecordStream::write_front() noexcept {
  Slice& slice = *slices_.front();
  write_edges(slice.edges);
  if (slice.frames.size() != slice.flushed)
    with_file([&](RecordFile& file) { file.write_frames(slice.frames); });
  covered_ps_ = slice.to_ps;
  spare_.push_back(std::move(slices_.front()));
  slices_.pop_front();
}

void RecordStream::skip_front(const char* name) noexcept {
  Slice& slice = *slices_.front();
  if (gap_.name != name) {
    close_gap();
    gap_ = {name, covered_ps_, covered_ps_, 0, 0};
  }
  gap_.to_ps = slice.to_ps;
  gap_.frames += slice.frames.size() - slice.flushed;
  gap_.edges += slice.edges.size();
  for (const LineEdge& edge : slice.edges) last_skipped_[edge.line] = edge;
  with_file([&](RecordFile& file) { file.skip_frames(slice.frames.size()); });
  spare_.push_back(std::move(slices_.front()));
  slices_.pop_front();
}

/// Says it, and brings every line to the level that it has behind it.
void RecordStream::close_gap() noexcept {
  if (gap_.name == nullptr) return;
  std::vector<LineEdge> levels;
  for (auto& edge : last_skipped_)
    if (edge) levels.push_back(*std::exchange(edge, std::nullopt));
  std::stable_sort(levels.begin(), levels.end(), by_time);
  Mark mark{MarkKind::gap, gap_.from_ps, gap_.to_ps, gap_.name,
            "too far from any fault or event, as was asked"};
  if (gap_.name == disk_full) {
    const std::uint64_t edges = gap_.edges - levels.size();
    summary_.lost_frames += gap_.frames;
    summary_.lost_edges += edges;
    mark.detail = fmt::format("{} points and {} edges lost", gap_.frames, edges);
  }
  with_file([&](RecordFile& file) {
    file.add_mark(mark);
    file.add_edges(levels);
  });
  covered_ps_ = gap_.to_ps;
  gap_ = {};
}

void RecordStream::flush() noexcept {
  Slice& slice = *slices_.back();
  if (slices_.size() == 1 && slice.wanted && room()) {
    write_edges(slice.edges);
    if (slice.frames.size() != slice.flushed)
      with_file([&](RecordFile& file) { file.write_frames(slice.frames); });
    slice.flushed = slice.frames.size();
    covered_ps_ = slice.to_ps;
  }
  with_file([&](RecordFile& file) { file.flush(covered_ps_); });
}

RecordSummary RecordStream::finish(std::optional<std::int64_t> end_ps) noexcept {
  room();
  summarise(*slices_.back());
  want_around(newest_ps_);
  while (!slices_.empty()) {
    const Slice& slice = *slices_.front();
    if (!slice.wanted)
      skip_front(not_kept);
    else if (room())
      write_front();
    else
      skip_front(disk_full);
  }
  close_gap();
  with_file([&](RecordFile& file) {
    if (end_ps)
      file.finish(*end_ps);
    else
      file.flush(covered_ps_);
  });
  file_.reset();
  summary_.signals_xxh128 = hash_.finish();
  return summary_;
}

}  // namespace stillrotor
