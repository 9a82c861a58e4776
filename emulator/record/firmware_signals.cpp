#include "emulator/record/firmware_signals.hpp"

#include <stdexcept>

#include "emulator/record/hdf5.hpp"
#include "emulator/record/record_layout.hpp"

namespace stillrotor {
namespace {

constexpr const char* group_name = "firmware";
constexpr std::size_t longest_text = 512;

std::filesystem::path file_of(const std::filesystem::path& place) {
  return std::filesystem::is_directory(place) ? place / layout::file_name : place;
}

void write_attribute(hid_t to, const char* name, hid_t type, const void* value) {
  const Hdf5Handle space(H5Screate(H5S_SCALAR), &H5Sclose, name);
  const Hdf5Handle attribute(H5Acreate2(to, name, type, space.get(), H5P_DEFAULT, H5P_DEFAULT),
                             &H5Aclose, name);
  check_hdf5(H5Awrite(attribute.get(), type, value), name);
}

std::string text_of(hid_t dataset) {
  const Hdf5Handle attribute(H5Aopen(dataset, "text", H5P_DEFAULT), &H5Aclose, "text is missing");
  const Hdf5Handle type(H5Aget_type(attribute.get()), &H5Tclose, "text has no type");
  const std::size_t bytes = H5Tget_size(type.get());
  if (H5Tget_class(type.get()) != H5T_STRING || H5Tis_variable_str(type.get()) != 0 ||
      bytes > longest_text)
    throw std::runtime_error("text is no short text");
  std::string text(bytes, '\0');
  check_hdf5(H5Aread(attribute.get(), type.get(), text.data()), "text cannot be read");
  return text.substr(0, text.find('\0'));
}

std::vector<std::string> names_in(hid_t group) {
  H5G_info_t info{};
  check_hdf5(H5Gget_info(group, &info), group_name);
  std::vector<std::string> names;
  for (hsize_t k = 0; k < info.nlinks; ++k) {
    char name[128];
    const auto length = H5Lget_name_by_idx(group, ".", H5_INDEX_NAME, H5_ITER_INC, k, name,
                                           sizeof name, H5P_DEFAULT);
    if (length < 0 || static_cast<std::size_t>(length) >= sizeof name)
      throw std::runtime_error("a variable's name cannot be read");
    names.emplace_back(name, static_cast<std::size_t>(length));
  }
  return names;
}

}  // namespace

void add_firmware_signals(const std::filesystem::path& folder, double rate_Hz,
                          const std::vector<FirmwareSignal>& signals) {
  if (signals.empty()) return;
  const Hdf5Lock lock;
  const std::string name = file_of(folder).string();
  const Hdf5Handle file(H5Fopen(name.c_str(), H5F_ACC_RDWR, H5P_DEFAULT), &H5Fclose, name);
  const Hdf5Handle group(H5Gcreate2(file.get(), group_name, H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT),
                         &H5Gclose, name + ": the firmware's variables");
  for (const FirmwareSignal& one : signals) {
    const hsize_t size[] = {one.values.size()};
    const Hdf5Handle space(H5Screate_simple(1, size, nullptr), &H5Sclose, one.name);
    const Hdf5Handle dataset(H5Dcreate2(group.get(), one.name.c_str(), H5T_IEEE_F32LE, space.get(),
                                        H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT),
                             &H5Dclose, one.name);
    check_hdf5(
        H5Dwrite(dataset.get(), H5T_NATIVE_FLOAT, H5S_ALL, H5S_ALL, H5P_DEFAULT, one.values.data()),
        one.name);
    write_attribute(dataset.get(), "rate_Hz", H5T_NATIVE_DOUBLE, &rate_Hz);
    const std::string text = one.text.substr(0, longest_text);
    write_attribute(dataset.get(), "text", layout::text_type(text.size()).get(), text.c_str());
  }
}

std::vector<FirmwareSignal> firmware_signals(const std::filesystem::path& file_or_folder) {
  const Hdf5Lock lock;
  const std::string name = file_of(file_or_folder).string();
  const Hdf5Handle file(H5Fopen(name.c_str(), H5F_ACC_RDONLY, H5P_DEFAULT), &H5Fclose, name);
  std::vector<FirmwareSignal> signals;
  if (H5Lexists(file.get(), group_name, H5P_DEFAULT) <= 0) return signals;
  const Hdf5Handle group(H5Gopen2(file.get(), group_name, H5P_DEFAULT), &H5Gclose, name);
  for (const std::string& one : names_in(group.get())) {
    const Hdf5Handle dataset(H5Dopen2(group.get(), one.c_str(), H5P_DEFAULT), &H5Dclose, one);
    const Hdf5Handle space(H5Dget_space(dataset.get()), &H5Sclose, one);
    hsize_t size = 0;
    if (H5Sget_simple_extent_ndims(space.get()) != 1 ||
        H5Sget_simple_extent_dims(space.get(), &size, nullptr) < 0)
      throw std::runtime_error(name + ": firmware/" + one + " is no row of numbers");
    // What the file does not hold cannot be asked for.
    if (size * sizeof(float) > H5Dget_storage_size(dataset.get()))
      throw std::runtime_error(name + ": firmware/" + one + " is cut off");
    FirmwareSignal signal{one, text_of(dataset.get()), std::vector<float>(size)};
    check_hdf5(H5Dread(dataset.get(), H5T_NATIVE_FLOAT, H5S_ALL, H5S_ALL, H5P_DEFAULT,
                       signal.values.data()),
               one);
    signals.push_back(std::move(signal));
  }
  return signals;
}

}  // namespace stillrotor
