#include "emulator/record/record_file.hpp"

#include <zlib.h>

#include <algorithm>
#include <cstring>
#include <limits>
#include <stdexcept>
#include <string>

namespace stillrotor {
namespace {

constexpr const char* cannot_create = "cannot create the record";
constexpr const char* cannot_write = "cannot write the record";
constexpr float unknown = std::numeric_limits<float>::quiet_NaN();

/// For what may still come once it is all that is left: a chunk of frames, one of each line's edges
/// and of marks, the file's own tables; and for what is written between two looks at it.
constexpr std::uint64_t room_held = 16U << 20;
static_assert(room_held > 2 * (column_count * layout::frame_chunk * sizeof(float) +
                               io::line_count * layout::line_chunk * sizeof(layout::EdgeEntry) +
                               6 * layout::gate_chunk * sizeof(layout::EdgeEntry)));

void add_attribute(hid_t object, const char* name, hid_t type, const void* value) {
  const Hdf5Handle space(H5Screate(H5S_SCALAR), &H5Sclose, cannot_create);
  const Hdf5Handle attribute(H5Acreate2(object, name, type, space.get(), H5P_DEFAULT, H5P_DEFAULT),
                             &H5Aclose, cannot_create);
  check_hdf5(H5Awrite(attribute.get(), type, value), cannot_create);
}

void add_attribute(hid_t object, const char* name, std::string_view text) {
  const std::string terminated(text);  // an empty text is written as one zero byte
  add_attribute(object, name, layout::text_type(text.size()).get(), terminated.c_str());
}

void add_attribute(hid_t object, const char* name, int value) {
  add_attribute(object, name, H5T_NATIVE_INT, &value);
}

Hdf5Handle create_group(hid_t parent, const char* name) {
  return {H5Gcreate2(parent, name, H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT), &H5Gclose,
          cannot_create};
}

/// Copies text, cut to at most `limit` bytes at a character's start and marked with an ellipsis.
template <std::size_t N>
void copy_cut(char (&to)[N], std::string_view text, std::size_t limit) {
  constexpr std::string_view ellipsis = "\u2026";
  std::memset(to, 0, N);
  if (text.size() <= limit) {
    std::memcpy(to, text.data(), text.size());
    return;
  }
  while (limit > 0 && (static_cast<unsigned char>(text[limit]) & 0xC0U) == 0x80U) --limit;
  std::memcpy(to, text.data(), limit);
  std::memcpy(to + limit, ellipsis.data(), ellipsis.size());
}
static_assert(sizeof(layout::MarkEntry::name) >= layout::mark_name_max + 3);
static_assert(sizeof(layout::MarkEntry::detail) >= layout::mark_detail_max + 3);

}  // namespace

RecordFile::RecordFile(const std::filesystem::path& file, const RecordHeader& header)
    : file_(file), compression_(header.keeping.compression) {
  const Hdf5Lock lock;
  const Hdf5Handle access(H5Pcreate(H5P_FILE_ACCESS), &H5Pclose, cannot_create);
  // Readers while it grows (and after a kill) need the newest form of the file.
  check_hdf5(H5Pset_libver_bounds(access.get(), H5F_LIBVER_LATEST, H5F_LIBVER_LATEST),
             cannot_create);
  // Chunks on whole pages: the kernel then never fills one page twice.
  check_hdf5(H5Pset_alignment(access.get(), 16384, 4096), cannot_create);
  h5_ = Hdf5Handle(H5Fcreate(file.c_str(), H5F_ACC_TRUNC, H5P_DEFAULT, access.get()), &H5Fclose,
                   file.string() +
                       ": cannot be created; name a folder that you may write to, "
                       "on a disk with room");
  room_.emplace(file, room_held);
  const hid_t root = h5_.get();
  add_attribute(root, "format", layout::format);
  add_attribute(root, "bench", header.bench);
  add_attribute(root, "scenario", header.scenario);
  add_attribute(root, "clock", header.clock);
  add_attribute(root, "rate_Hz", H5T_NATIVE_DOUBLE, &header.rate_Hz);
  add_attribute(root, "pole_pairs", header.pole_pairs);
  if (header.machine)
    for (const auto& [name, value] : machine_attributes)
      add_attribute(root, name, H5T_NATIVE_DOUBLE, &((*header.machine).*value));
  for (const auto& [name, there] : loss_attributes)
    add_attribute(root, name, header.losses.*there ? 1 : 0);
  add_attribute(root, "finished", 0);
  create_signals(header.rate_Hz);
  create_overview();
  create_edges(header);
  marks_ = create_series(root, "marks", layout::mark_type().get(), layout::mark_chunk);
  const Hdf5Handle scalar(H5Screate(H5S_SCALAR), &H5Sclose, cannot_create);
  covered_ = Hdf5Handle(H5Dcreate2(root, "covered_ps", H5T_STD_I64LE, scalar.get(), H5P_DEFAULT,
                                   H5P_DEFAULT, H5P_DEFAULT),
                        &H5Dclose, cannot_create);
  const std::int64_t nothing = 0;
  check_hdf5(H5Dwrite(covered_.get(), H5T_STD_I64LE, H5S_ALL, H5S_ALL, H5P_DEFAULT, &nothing),
             cannot_create);
  // From here on no object can be added.
  check_hdf5(H5Fstart_swmr_write(root), cannot_create);
}

RecordFile::~RecordFile() {
  const Hdf5Lock lock;
  close_all();
  if (room_) room_->release();
}

bool RecordFile::close_all() noexcept {
  bool closed = marks_.dataset.close() && covered_.close();
  for (Series& series : columns_) closed = series.dataset.close() && closed;
  for (Series& series : overview_) closed = series.dataset.close() && closed;
  for (EdgeSeries& series : edges_) closed = series.dataset.close() && closed;
  return h5_.close() && closed;
}

RecordFile::Series RecordFile::create_series(hid_t group, const std::string& name, hid_t type,
                                             hsize_t chunk) {
  const hsize_t none = 0, unlimited = H5S_UNLIMITED;
  const Hdf5Handle space(H5Screate_simple(1, &none, &unlimited), &H5Sclose, cannot_create);
  const Hdf5Handle creation(H5Pcreate(H5P_DATASET_CREATE), &H5Pclose, cannot_create);
  check_hdf5(H5Pset_chunk(creation.get(), 1, &chunk), cannot_create);
  // Chunks are always written whole: filling them first would write everything twice.
  check_hdf5(H5Pset_fill_time(creation.get(), H5D_FILL_TIME_NEVER), cannot_create);
  Series series;
  series.dataset = Hdf5Handle(
      H5Dcreate2(group, name.c_str(), type, space.get(), H5P_DEFAULT, creation.get(), H5P_DEFAULT),
      &H5Dclose, cannot_create);
  series.chunk = chunk;
  return series;
}

/// Not a number where nothing was written.
RecordFile::Series RecordFile::create_column(hid_t group, const std::string& name) {
  const hsize_t none = 0, unlimited = H5S_UNLIMITED;
  const Hdf5Handle space(H5Screate_simple(1, &none, &unlimited), &H5Sclose, cannot_create);
  const Hdf5Handle creation(H5Pcreate(H5P_DATASET_CREATE), &H5Pclose, cannot_create);
  check_hdf5(H5Pset_chunk(creation.get(), 1, &layout::frame_chunk), cannot_create);
  check_hdf5(H5Pset_fill_value(creation.get(), H5T_NATIVE_FLOAT, &unknown), cannot_create);
  if (compression_ > 0) {
    check_hdf5(H5Pset_shuffle(creation.get()), cannot_create);
    check_hdf5(H5Pset_deflate(creation.get(), static_cast<unsigned>(compression_)), cannot_create);
  }
  Series series;
  series.dataset = Hdf5Handle(H5Dcreate2(group, name.c_str(), H5T_IEEE_F32LE, space.get(),
                                         H5P_DEFAULT, creation.get(), H5P_DEFAULT),
                              &H5Dclose, cannot_create);
  series.chunk = layout::frame_chunk;
  return series;
}

void RecordFile::create_overview() {
  const Hdf5Handle group = create_group(h5_.get(), "overview");
  std::size_t longest = 0;
  for (const SignalInfo& signal : signal_table) longest = std::max(longest, signal.name.size());
  std::string names;
  for (const SignalInfo& signal : signal_table)
    names += std::string(signal.name) + std::string(longest - signal.name.size(), '\0');
  const hsize_t name_count = signal_count;
  const Hdf5Handle list(H5Screate_simple(1, &name_count, nullptr), &H5Sclose, cannot_create);
  const Hdf5Handle type = layout::text_type(longest);
  const Hdf5Handle attribute(
      H5Acreate2(group.get(), "signals", type.get(), list.get(), H5P_DEFAULT, H5P_DEFAULT),
      &H5Aclose, cannot_create);
  check_hdf5(H5Awrite(attribute.get(), type.get(), names.data()), cannot_create);
  for (std::size_t level = 0; level < layout::overview_levels; ++level) {
    const hsize_t none[] = {0, signal_count, 2}, most[] = {H5S_UNLIMITED, signal_count, 2};
    const hsize_t chunk[] = {layout::overview_chunk, signal_count, 2};
    const Hdf5Handle space(H5Screate_simple(3, none, most), &H5Sclose, cannot_create);
    const Hdf5Handle creation(H5Pcreate(H5P_DATASET_CREATE), &H5Pclose, cannot_create);
    check_hdf5(H5Pset_chunk(creation.get(), 3, chunk), cannot_create);
    check_hdf5(H5Pset_fill_value(creation.get(), H5T_NATIVE_FLOAT, &unknown), cannot_create);
    overview_[level].dataset = Hdf5Handle(
        H5Dcreate2(group.get(), std::to_string(layout::overview_points[level]).c_str(),
                   H5T_IEEE_F32LE, space.get(), H5P_DEFAULT, creation.get(), H5P_DEFAULT),
        &H5Dclose, cannot_create);
  }
}

void RecordFile::create_signals(double rate_Hz) {
  for (std::size_t k = 0; k < column_count; ++k) {
    const ColumnInfo info = column_info(k);
    const Hdf5Handle group =
        H5Lexists(h5_.get(), info.group, H5P_DEFAULT) > 0
            ? Hdf5Handle(H5Gopen2(h5_.get(), info.group, H5P_DEFAULT), &H5Gclose, cannot_create)
            : create_group(h5_.get(), info.group);
    columns_[k] = create_column(group.get(), std::string(info.signal->name));
    const hid_t dataset = columns_[k].dataset.get();
    add_attribute(dataset, "unit", info.signal->unit);
    add_attribute(dataset, "rate_Hz", H5T_NATIVE_DOUBLE, &rate_Hz);
    add_attribute(dataset, "text", info.signal->text);
  }
}

void RecordFile::create_edges(const RecordHeader& header) {
  const Hdf5Handle group = create_group(h5_.get(), "edges");
  const Hdf5Handle type = layout::edge_type();
  for (std::size_t line = 0; line < io::line_count; ++line) {
    const auto id = static_cast<io::LineId>(line);
    EdgeSeries& series = edges_[line];
    static_cast<Series&>(series) =
        create_series(group.get(), std::string(io::name(id)), type.get(),
                      io::is_gate(id) ? layout::gate_chunk : layout::line_chunk);
    series.pending.resize(series.chunk);
    const bool high = (header.initial_lines_high[line / 8] >> (line % 8) & 1) != 0;
    add_attribute(series.dataset.get(), "initially_high", high ? 1 : 0);
  }
}

void RecordFile::set_extent(Series& series, hsize_t entries) {
  const hsize_t extent = series.stored + entries;
  check_hdf5(H5Dset_extent(series.dataset.get(), &extent), cannot_write);
}

/// Writes the chunk that starts at `stored`, of which `entries` count.
void RecordFile::write_chunk(Series& series, const void* data, std::size_t bytes, hsize_t entries) {
  set_extent(series, entries);
  check_hdf5(H5Dwrite_chunk(series.dataset.get(), H5P_DEFAULT, 0, &series.stored, bytes, data),
             cannot_write);
  if (entries == series.chunk) series.stored += entries;
}

void RecordFile::write_frames(FrameColumns& frames) {
  const Hdf5Lock lock;
  for (std::size_t k = 0; k < column_count; ++k) {
    const std::span<const float> column = frames.whole_column(k);
    const auto bytes = compressed(column);
    write_chunk(columns_[k], bytes.data(), bytes.size(), frames.size());
  }
}

void RecordFile::skip_frames(std::size_t count) {
  const Hdf5Lock lock;
  for (Series& series : columns_) {
    set_extent(series, count);
    series.stored += count;
  }
}

/// As the format's own filters would have made it: here, in the writer's thread, once a chunk.
std::span<const std::uint8_t> RecordFile::compressed(std::span<const float> column) {
  const auto* bytes = reinterpret_cast<const std::uint8_t*>(column.data());
  if (compression_ == 0) return {bytes, column.size_bytes()};
  shuffled_.resize(column.size_bytes());
  for (std::size_t byte = 0; byte < sizeof(float); ++byte)
    for (std::size_t k = 0; k < column.size(); ++k)
      shuffled_[byte * column.size() + k] = bytes[k * sizeof(float) + byte];
  uLongf size = compressBound(shuffled_.size());
  deflated_.resize(size);
  if (compress2(deflated_.data(), &size, shuffled_.data(), shuffled_.size(), compression_) != Z_OK)
    throw std::runtime_error("cannot write the record: zlib refuses to compress");
  return {deflated_.data(), size};
}

void RecordFile::add_overview(std::size_t level, const OverviewRows& rows, bool keep) {
  const Hdf5Lock lock;
  Series& series = overview_[level];
  const hsize_t count = rows.size() / signal_count;
  const hsize_t extent[] = {series.stored + count, signal_count, 2};
  const hsize_t start[] = {series.stored, 0, 0}, length[] = {count, signal_count, 2};
  check_hdf5(H5Dset_extent(series.dataset.get(), extent), cannot_write);
  series.stored += count;
  if (!keep) return;
  const Hdf5Handle file(H5Dget_space(series.dataset.get()), &H5Sclose, cannot_write);
  check_hdf5(H5Sselect_hyperslab(file.get(), H5S_SELECT_SET, start, nullptr, length, nullptr),
             cannot_write);
  const Hdf5Handle memory(H5Screate_simple(3, length, nullptr), &H5Sclose, cannot_write);
  check_hdf5(H5Dwrite(series.dataset.get(), H5T_NATIVE_FLOAT, memory.get(), file.get(), H5P_DEFAULT,
                      rows.data()),
             cannot_write);
}

void RecordFile::write_pending(EdgeSeries& series) {
  write_chunk(series, series.pending.data(), series.chunk * sizeof series.pending[0],
              series.filled);
  if (series.filled == series.chunk) series.filled = 0;
  series.flushed = series.filled;
}

void RecordFile::add_edges(std::span<const LineEdge> edges) {
  for (const LineEdge& edge : edges) {
    EdgeSeries& series = edges_[edge.line];
    layout::EdgeEntry& entry = series.pending[series.filled++];
    entry.t_ps = edge.at_ps;
    entry.level = edge.level;
    if (series.filled == series.chunk) {
      const Hdf5Lock lock;
      write_pending(series);
    }
  }
}

void RecordFile::add_mark(const Mark& mark) {
  layout::MarkEntry& entry = pending_marks_.emplace_back();
  entry.t_ps = mark.at_ps;
  entry.to_ps = mark.to_ps;
  entry.kind = static_cast<std::uint8_t>(mark.kind);
  copy_cut(entry.name, mark.name, layout::mark_name_max);
  copy_cut(entry.detail, mark.detail, layout::mark_detail_max);
  if (pending_marks_.size() == layout::mark_chunk) {
    const Hdf5Lock lock;
    write_marks();
  }
}

void RecordFile::write_marks() {
  const std::size_t count = pending_marks_.size();
  if (count == 0) return;
  pending_marks_.resize(layout::mark_chunk);
  write_chunk(marks_, pending_marks_.data(), layout::mark_chunk * sizeof pending_marks_[0], count);
  pending_marks_.resize(count == layout::mark_chunk ? 0 : count);
}

void RecordFile::flush(std::int64_t covered_ps) {
  const Hdf5Lock lock;
  for (EdgeSeries& series : edges_) {
    if (series.filled != series.flushed) write_pending(series);
  }
  write_marks();
  check_hdf5(H5Fflush(h5_.get(), H5F_SCOPE_GLOBAL), cannot_write);
  // Only now: a reader trusts what lies before this instant.
  check_hdf5(H5Dwrite(covered_.get(), H5T_STD_I64LE, H5S_ALL, H5S_ALL, H5P_DEFAULT, &covered_ps),
             cannot_write);
  check_hdf5(H5Dflush(covered_.get()), cannot_write);
}

void RecordFile::finish(std::int64_t end_ps) {
  flush(end_ps);
  const Hdf5Lock lock;
  if (!close_all()) throw_hdf5_error(cannot_write);
  // An attribute may not change while others may read along: hence once more, alone.
  Hdf5Handle file(H5Fopen(file_.c_str(), H5F_ACC_RDWR, H5P_DEFAULT), &H5Fclose, cannot_write);
  Hdf5Handle finished(H5Aopen(file.get(), "finished", H5P_DEFAULT), &H5Aclose, cannot_write);
  const int yes = 1;
  check_hdf5(H5Awrite(finished.get(), H5T_NATIVE_INT, &yes), cannot_write);
  if (!finished.close() || !file.close()) throw_hdf5_error(cannot_write);
}

}  // namespace stillrotor
