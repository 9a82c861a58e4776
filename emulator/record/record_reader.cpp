#include "emulator/record/record_reader.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <stdexcept>
#include <utility>

#include "emulator/record/columns.hpp"
#include "emulator/record/record_layout.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

/// Refused while it is being written, and after a writer was killed: then read along.
Hdf5Handle open_file(const std::filesystem::path& path) {
  const std::string refusal =
      path.string() + " is not a record, or is damaged. Run the scenario again";
  hid_t file = H5Fopen(path.c_str(), H5F_ACC_RDONLY, H5P_DEFAULT);
  if (file < 0) {
    const Hdf5Handle access(H5Pcreate(H5P_FILE_ACCESS), &H5Pclose, refusal);
    // The library tries again what a writer may be changing just now, each time after twice the
    // pause: 24 times end after 17 ms; its default of 100 would never end on a damaged file.
    check_hdf5(H5Pset_metadata_read_attempts(access.get(), 24), refusal);
    file = H5Fopen(path.c_str(), H5F_ACC_RDONLY | H5F_ACC_SWMR_READ, access.get());
  }
  return {file, &H5Fclose, refusal};
}

std::string read_text(hid_t object, const char* name) {
  const Hdf5Handle attribute(H5Aopen(object, name, H5P_DEFAULT), &H5Aclose,
                             std::string("the attribute ") + name + " is missing");
  const Hdf5Handle type(H5Aget_type(attribute.get()), &H5Tclose, "an attribute has no type");
  const Hdf5Handle space(H5Aget_space(attribute.get()), &H5Sclose, "an attribute has no size");
  if (H5Tget_class(type.get()) != H5T_STRING || H5Tis_variable_str(type.get()) != 0 ||
      H5Sget_simple_extent_npoints(space.get()) != 1) {
    throw std::runtime_error(std::string("the attribute ") + name + " is not a text");
  }
  std::string text(H5Tget_size(type.get()), '\0');
  check_hdf5(H5Aread(attribute.get(), type.get(), text.data()),
             std::string("the attribute ") + name + " cannot be read");
  text.resize(std::min(text.find('\0'), text.size()));
  return text;
}

template <class T>
T read_number(hid_t object, const char* name, hid_t type) {
  const Hdf5Handle attribute(H5Aopen(object, name, H5P_DEFAULT), &H5Aclose,
                             std::string("the attribute ") + name + " is missing");
  const Hdf5Handle space(H5Aget_space(attribute.get()), &H5Sclose, "an attribute has no size");
  if (H5Sget_simple_extent_npoints(space.get()) != 1) {
    throw std::runtime_error(std::string("the attribute ") + name + " is not one number");
  }
  T value{};
  check_hdf5(H5Aread(attribute.get(), type, &value),
             std::string("the attribute ") + name + " is not a number");
  return value;
}

struct Dataset {
  Hdf5Handle handle;
  std::size_t size = 0;
};

Dataset open_dataset(hid_t file, const std::string& name, int dimensions = 1) {
  Dataset dataset;
  dataset.handle =
      Hdf5Handle(H5Dopen2(file, name.c_str(), H5P_DEFAULT), &H5Dclose, name + " is missing");
  const Hdf5Handle space(H5Dget_space(dataset.handle.get()), &H5Sclose, name + " has no size");
  std::array<hsize_t, 3> size{};
  if (H5Sget_simple_extent_ndims(space.get()) != dimensions ||
      H5Sget_simple_extent_dims(space.get(), size.data(), nullptr) < 0) {
    throw std::runtime_error(name + " is not a list");
  }
  dataset.size = size[0];
  return dataset;
}

template <class T>
std::vector<T> read_range(const Dataset& dataset, hid_t type, std::size_t first,
                          std::size_t count) {
  std::vector<T> values(count);
  if (count == 0) return values;
  const hsize_t start = first, length = count;
  const Hdf5Handle in_file(H5Dget_space(dataset.handle.get()), &H5Sclose, "the record is damaged");
  check_hdf5(H5Sselect_hyperslab(in_file.get(), H5S_SELECT_SET, &start, nullptr, &length, nullptr),
             "the record is damaged");
  const Hdf5Handle in_memory(H5Screate_simple(1, &length, nullptr), &H5Sclose,
                             "the record is damaged");
  check_hdf5(H5Dread(dataset.handle.get(), type, in_memory.get(), in_file.get(), H5P_DEFAULT,
                     values.data()),
             "the record is damaged: its data cannot be read");
  return values;
}

std::size_t spread_index(Signal signal) {
  const auto index = static_cast<std::size_t>(signal);
  if (index >= spread_count) {
    throw std::out_of_range(std::string(signal_table[index].name) +
                            " is recorded without least and greatest values");
  }
  return index;
}

struct OtherFormat : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Up to the first NUL, or all of it.
template <std::size_t N>
std::string text_of(const char (&text)[N]) {
  return {text, std::find(text, text + N, '\0')};
}

}  // namespace

struct RecordReader::Impl {
  std::string file_name;
  Hdf5Handle file;
  std::string bench, scenario, clock;
  double rate_Hz = 0.0;
  int pole_pairs = 1;
  std::optional<RecordedMachine> machine;
  RecordedLosses losses;
  bool finished = false;
  std::int64_t covered_ps = 0;
  std::size_t frames = 0;
  std::array<Dataset, column_count> columns;
  std::array<Dataset, layout::overview_levels> overview;
  std::array<Dataset, io::line_count> edge_datasets;
  std::array<bool, io::line_count> initially_high{};
  std::array<std::optional<std::vector<RecordedEdge>>, io::line_count> edges;  // read when asked
  std::vector<RecordedMark> marks;

  void read_header();
  void open_columns();
  void open_overview();
  void open_edges();
  void read_marks();
  std::vector<float> read_column(std::size_t column, std::size_t first, std::size_t count) const;
};

void RecordReader::Impl::read_header() {
  const hid_t root = file.get();
  const int format = read_number<int>(root, "format", H5T_NATIVE_INT);
  if (format != layout::format) {
    throw OtherFormat("is a record of format " + std::to_string(format) + "; this program reads " +
                      std::to_string(layout::format) +
                      ". Read it with the version of the program that wrote it (run.json names "
                      "it), or its numbers with h5dump or h5py");
  }
  bench = read_text(root, "bench");
  scenario = read_text(root, "scenario");
  clock = read_text(root, "clock");
  rate_Hz = read_number<double>(root, "rate_Hz", H5T_NATIVE_DOUBLE);
  pole_pairs = read_number<int>(root, "pole_pairs", H5T_NATIVE_INT);
  finished = read_number<int>(root, "finished", H5T_NATIVE_INT) != 0;
  if (!(rate_Hz > 0.0 && rate_Hz <= 1e9) || pole_pairs < 1) {
    throw std::runtime_error("its rate or its number of pole pairs makes no sense");
  }
  if (H5Aexists(root, machine_attributes[0].name) > 0) {
    machine.emplace();
    for (const auto& [name, value] : machine_attributes)
      (*machine).*value = read_number<double>(root, name, H5T_NATIVE_DOUBLE);
  }
  for (const auto& [name, there] : loss_attributes)
    losses.*there = read_number<int>(root, name, H5T_NATIVE_INT) != 0;
  const Hdf5Handle covered(H5Dopen2(root, "covered_ps", H5P_DEFAULT), &H5Dclose,
                           "covered_ps is missing");
  const Hdf5Handle space(H5Dget_space(covered.get()), &H5Sclose, "covered_ps has no size");
  if (H5Sget_simple_extent_npoints(space.get()) != 1) {
    throw std::runtime_error("covered_ps is not one number");
  }
  check_hdf5(H5Dread(covered.get(), H5T_NATIVE_INT64, H5S_ALL, H5S_ALL, H5P_DEFAULT, &covered_ps),
             "covered_ps cannot be read");
  if (covered_ps < 0) throw std::runtime_error("covered_ps makes no sense");
}

void RecordReader::Impl::open_columns() {
  // A writer that was killed leaves lengths that differ: what all of them have is whole.
  std::size_t shortest = std::numeric_limits<std::size_t>::max();
  for (std::size_t k = 0; k < column_count; ++k) {
    const ColumnInfo info = column_info(k);
    columns[k] =
        open_dataset(file.get(), std::string(info.group) + "/" + std::string(info.signal->name));
    shortest = std::min(shortest, columns[k].size);
  }
  frames = shortest;
  if (!finished) {
    // The grid point at covered_ps itself is covered: half a period of tolerance for rounding.
    const double whole = std::floor(static_cast<double>(covered_ps) * 1e-12 * rate_Hz + 0.5);
    if (whole < static_cast<double>(frames)) frames = static_cast<std::size_t>(whole);
  }
}

void RecordReader::Impl::open_overview() {
  for (std::size_t level = 0; level < layout::overview_levels; ++level)
    overview[level] =
        open_dataset(file.get(), "overview/" + std::to_string(layout::overview_points[level]), 3);
}

void RecordReader::Impl::open_edges() {
  for (std::size_t line = 0; line < io::line_count; ++line) {
    edge_datasets[line] =
        open_dataset(file.get(), "edges/" + std::string(io::name(static_cast<io::LineId>(line))));
    initially_high[line] =
        read_number<int>(edge_datasets[line].handle.get(), "initially_high", H5T_NATIVE_INT) != 0;
  }
}

void RecordReader::Impl::read_marks() {
  const Dataset dataset = open_dataset(file.get(), "marks");
  for (const auto& entry :
       read_range<layout::MarkEntry>(dataset, layout::mark_type().get(), 0, dataset.size)) {
    if (entry.kind > static_cast<std::uint8_t>(MarkKind::gap)) {
      throw std::runtime_error("a mark's kind makes no sense");
    }
    marks.push_back({static_cast<MarkKind>(entry.kind), entry.t_ps, entry.to_ps,
                     text_of(entry.name), text_of(entry.detail)});
  }
  // A gap is told when it has ended.
  std::stable_sort(marks.begin(), marks.end(),
                   [](const RecordedMark& a, const RecordedMark& b) { return a.at_ps < b.at_ps; });
}

std::vector<float> RecordReader::Impl::read_column(std::size_t column, std::size_t first,
                                                   std::size_t count) const {
  if (first > frames || count > frames - first) {
    throw std::out_of_range(file_name + " has " + std::to_string(frames) +
                            " grid points; asked for " + std::to_string(count) + " from point " +
                            std::to_string(first));
  }
  const Hdf5Lock lock;
  return read_range<float>(columns[column], H5T_NATIVE_FLOAT, first, count);
}

RecordReader::RecordReader(const std::filesystem::path& file_or_folder)
    : impl_(std::make_unique<Impl>()) {
  const std::filesystem::path path = std::filesystem::is_directory(file_or_folder)
                                         ? file_or_folder / layout::file_name
                                         : file_or_folder;
  impl_->file_name = path.string();
  if (!std::filesystem::exists(path)) {
    throw std::runtime_error(impl_->file_name +
                             " does not exist. Name a run's folder or its record.h5.");
  }
  const Hdf5Lock lock;
  impl_->file = open_file(path);
  try {
    impl_->read_header();
    impl_->open_columns();
    impl_->open_overview();
    impl_->open_edges();
    impl_->read_marks();
  } catch (const std::runtime_error& error) {
    const bool other = dynamic_cast<const OtherFormat*>(&error) != nullptr;
    const std::string message =
        impl_->file_name + (other ? " " : " is not a record: ") + error.what() + ".";
    impl_.reset();  // closes while the lock is held
    throw std::runtime_error(message);
  }
}

RecordReader::~RecordReader() {
  const Hdf5Lock lock;
  impl_.reset();
}

const std::string& RecordReader::bench() const noexcept { return impl_->bench; }
const std::string& RecordReader::scenario() const noexcept { return impl_->scenario; }
const std::string& RecordReader::clock() const noexcept { return impl_->clock; }
double RecordReader::rate_Hz() const noexcept { return impl_->rate_Hz; }
const RecordedLosses& RecordReader::losses() const noexcept { return impl_->losses; }
const std::optional<RecordedMachine>& RecordReader::machine() const noexcept {
  return impl_->machine;
}
int RecordReader::pole_pairs() const noexcept { return impl_->pole_pairs; }
bool RecordReader::finished() const noexcept { return impl_->finished; }
std::size_t RecordReader::frames() const noexcept { return impl_->frames; }
const std::vector<RecordedMark>& RecordReader::marks() const { return impl_->marks; }

double RecordReader::end_s() const noexcept {
  return static_cast<double>(impl_->covered_ps) * 1e-12;
}

std::vector<float> RecordReader::values(Signal signal, std::size_t first, std::size_t count) const {
  return impl_->read_column(static_cast<std::size_t>(signal), first, count);
}

std::vector<float> RecordReader::least(Signal signal, std::size_t first, std::size_t count) const {
  return impl_->read_column(signal_count + spread_index(signal), first, count);
}

std::vector<float> RecordReader::greatest(Signal signal, std::size_t first,
                                          std::size_t count) const {
  return impl_->read_column(signal_count + spread_count + spread_index(signal), first, count);
}

std::vector<OverviewBin> RecordReader::overview(Signal signal, std::size_t points,
                                                std::size_t first, std::size_t count) const {
  const auto level =
      std::find(std::begin(layout::overview_points), std::end(layout::overview_points), points);
  const Dataset& dataset =
      impl_->overview.at(static_cast<std::size_t>(level - std::begin(layout::overview_points)));
  std::vector<OverviewBin> bins(std::min(count, dataset.size - std::min(first, dataset.size)));
  if (bins.empty()) return bins;
  const Hdf5Lock lock;
  const hsize_t start[] = {first, static_cast<hsize_t>(signal), 0}, length[] = {bins.size(), 1, 2};
  const Hdf5Handle in_file(H5Dget_space(dataset.handle.get()), &H5Sclose, "the record is damaged");
  check_hdf5(H5Sselect_hyperslab(in_file.get(), H5S_SELECT_SET, start, nullptr, length, nullptr),
             "the record is damaged");
  const Hdf5Handle in_memory(H5Screate_simple(3, length, nullptr), &H5Sclose,
                             "the record is damaged");
  check_hdf5(H5Dread(dataset.handle.get(), H5T_NATIVE_FLOAT, in_memory.get(), in_file.get(),
                     H5P_DEFAULT, bins.data()),
             "the record is damaged: its overview cannot be read");
  return bins;
}

const std::vector<RecordedEdge>& RecordReader::edges(std::uint16_t line) const {
  auto& kept = impl_->edges.at(line);
  if (!kept) {
    std::vector<RecordedEdge> all(impl_->edge_datasets[line].size);
    all.resize(read_edges(line, 0, all));
    kept = std::move(all);
  }
  return *kept;
}

std::size_t RecordReader::read_edges(std::uint16_t line, std::size_t first,
                                     std::span<RecordedEdge> into) const {
  const Dataset& dataset = impl_->edge_datasets.at(line);
  const std::size_t count = std::min(into.size(), dataset.size - std::min(first, dataset.size));
  if (count == 0) return 0;
  const Hdf5Lock lock;
  const auto entries =
      read_range<layout::EdgeEntry>(dataset, layout::edge_type().get(), first, count);
  for (std::size_t k = 0; k < count; ++k) {
    // Beyond what is covered other lines may lack edges: an order between lines would lie.
    if (!impl_->finished && entries[k].t_ps > impl_->covered_ps) return k;
    into[k] = {entries[k].t_ps, entries[k].level};
  }
  return count;
}

bool RecordReader::initially_high(std::uint16_t line) const noexcept {
  return line < io::line_count && impl_->initially_high[line];
}

}  // namespace stillrotor
