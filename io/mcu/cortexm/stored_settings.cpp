#include "io/mcu/cortexm/stored_settings.hpp"

#include <fmt/core.h>

#include <cmath>
#include <cstring>
#include <optional>

#include "io/connector.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr const char* symbol = "sr_settings";
constexpr std::size_t longest_word = 64, most_settings = 256;

/// struct sr_setting as the AAPCS lays it out: pointers of four bytes, doubles at eights. The
/// type's enumeration has one byte or four; its values fit into the first.
struct Entry {
  Word name, unit;
  std::uint8_t type;
  std::uint8_t padding[3];
  Word at;
  double least, most;
};
static_assert(sizeof(Entry) == 32);
enum Type : std::uint8_t { whole, single, doubled };

[[noreturn]] void refuse(const std::string& why) {
  throw ConfigError("controller.settings",
                    fmt::format("the firmware's table {} {}. It is an array of struct sr_setting "
                                "whose variables lie in flash; see "
                                "docs/recipes/vary-a-firmware-setting.md.",
                                symbol, why));
}

class Flash {
 public:
  Flash(Program& program, const Memories& memories)
      : flash_(program.flash), base_(memories.flash_base) {}

  std::uint8_t* at(Word address, std::size_t bytes) noexcept {
    const std::uint64_t offset = std::uint64_t{address} - base_;
    return address >= base_ && offset + bytes <= flash_.size() ? flash_.data() + offset : nullptr;
  }
  /// nullopt: outside, too long, or without an end.
  std::optional<std::string> word_at(Word address) {
    std::string text;
    for (std::size_t i = 0; i <= longest_word; ++i) {
      const std::uint8_t* const byte = at(address + static_cast<Word>(i), 1);
      if (byte == nullptr) return std::nullopt;
      if (*byte == 0) return text;
      text += static_cast<char>(*byte);
    }
    return std::nullopt;
  }

 private:
  std::vector<std::uint8_t>& flash_;
  Word base_;
};

std::size_t bytes_of(std::uint8_t type) noexcept { return type == doubled ? 8 : 4; }

double value_of(std::uint8_t type, const std::uint8_t* from) noexcept {
  const auto as = [&](auto value) {
    std::memcpy(&value, from, sizeof value);
    return static_cast<double>(value);
  };
  return type == whole ? as(std::int32_t{}) : type == single ? as(float{}) : as(double{});
}

void store(std::uint8_t type, double value, std::uint8_t* to) noexcept {
  const auto as = [&](auto stored) { std::memcpy(to, &stored, sizeof stored); };
  if (type == whole)
    as(static_cast<std::int32_t>(value));
  else if (type == single)
    as(static_cast<float>(value));
  else
    as(value);
}

std::vector<Entry> read_table(const Named& table, Flash& flash) {
  const std::size_t count = table.bytes / sizeof(Entry);
  const std::uint8_t* const from = flash.at(table.address, table.bytes);
  if (table.bytes % sizeof(Entry) != 0 || count > most_settings)
    refuse(fmt::format("has {} bytes, which are not 0 to {} entries of {}", table.bytes,
                       most_settings, sizeof(Entry)));
  if (from == nullptr) refuse("lies outside the flash");
  std::vector<Entry> entries(count);
  std::memcpy(entries.data(), from, table.bytes);
  return entries;
}

SettingForm form_from(const Entry& entry, std::size_t number, Flash& flash) {
  const auto name = flash.word_at(entry.name);
  const auto unit = entry.unit == 0 ? std::string() : flash.word_at(entry.unit);
  if (!name || name->empty() || !unit)
    refuse(fmt::format("has no name or unit in flash for its entry {}", number));
  if (entry.type > doubled) refuse(fmt::format("gives {} the unknown type {}", *name, entry.type));
  if (flash.at(entry.at, bytes_of(entry.type)) == nullptr)
    refuse(fmt::format("keeps {} at 0x{:08x}, outside the flash that the file fills", *name,
                       entry.at));
  if (!(std::isfinite(entry.least) && std::isfinite(entry.most) && entry.least <= entry.most))
    refuse(fmt::format("allows {} from {:g} to {:g}", *name, entry.least, entry.most));
  const double narrowest = entry.type == whole ? -0x1p31 : entry.least;
  const double widest = entry.type == whole ? 0x1p31 - 1 : entry.most;
  return {*name, *unit, entry.type == whole, std::max(entry.least, narrowest),
          std::min(entry.most, widest)};
}

}  // namespace

std::vector<Setting> store_settings(Program& program, const Memories& memories,
                                    const std::vector<SettingChange>& changes) {
  Flash flash(program, memories);
  std::vector<Entry> entries;
  std::vector<SettingForm> forms;
  if (const Named* table = program.find(symbol)) entries = read_table(*table, flash);
  for (const Entry& entry : entries) {
    forms.push_back(form_from(entry, forms.size(), flash));
    for (std::size_t k = 0; k + 1 < forms.size(); ++k)
      if (forms[k].name == forms.back().name)
        refuse(fmt::format("has {} twice", forms.back().name));
  }
  std::vector<bool> written(entries.size(), false);
  for (const SettingChange& change : changes) {
    const std::size_t k = form_of(change, forms);
    const Entry& entry = entries[k];
    store(entry.type, change.value, flash.at(entry.at, bytes_of(entry.type)));
    written[k] = true;
  }
  std::vector<Setting> settings;
  for (std::size_t k = 0; k < entries.size(); ++k)
    settings.push_back(
        {forms[k].name, forms[k].unit,
         value_of(entries[k].type, flash.at(entries[k].at, bytes_of(entries[k].type))),
         written[k]});
  // Two variables that overlap would show here.
  for (const SettingChange& change : changes) {
    const std::size_t k = form_of(change, forms);
    const double held = entries[k].type == single
                            ? static_cast<double>(static_cast<float>(change.value))
                            : change.value;
    require_taken(change, held, settings[k].value);
  }
  return settings;
}

}  // namespace stillrotor::io::cortexm
