// What a bench file said about each parameter, row by row of the table.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "emulator/bench/parameter.hpp"
#include "emulator/bench/yaml_tree.hpp"

namespace stillrotor {

struct Reading {
  enum class State : unsigned char {
    absent,
    given,
    defaulted,
    derived,  // computed from others, and written out in the resolved file
    shown     // computed from a given one that stands in for it; not written out
  };
  const Parameter* parameter = nullptr;
  State state = State::absent;
  bool applies = true;  // to this bench's kind of controller
  std::string written;  // as in the file, or the default's text
  Place place;          // of the value, or of the section where it is missing
};

class Readings {
 public:
  /// All rows, absent, placed at the whole file.
  explicit Readings(const std::string& file);

  Reading& at(std::string_view path);  // throws std::logic_error for an unknown path
  bool given(std::string_view path) { return at(path).state == Reading::State::given; }
  /// The bench has a part of this name, perhaps with nothing in it ("sensors.hall").
  bool has_section(std::string_view path) const noexcept;
  /// Of what is not there nobody wants to know the default; of one row, and of all below a path.
  void hide_default(std::string_view path);
  void hide_defaults(std::string_view section);

  std::vector<Reading> rows;          // in table order
  std::vector<std::string> sections;  // that stand in the file
};

/// Takes the values out of a bench's tree, and the overrides ("path=value") over them. Unknown,
/// repeated and misplaced keys become problems. Nothing is converted yet.
Readings collect(const YamlNode& root, const std::string& file,
                 const std::vector<std::string>& overrides, Problems&);

/// Converts what was collected, defaults included, into the draft. First the controller's kind,
/// which decides what else applies.
void convert(Readings&, Draft&, Problems&);

/// The draft's derived values, cross checks and the final Bench (without texts).
/// `bench_file` and `build_dir` resolve paths.
void assemble(Readings&, Draft&, const std::filesystem::path& build_dir, Problems&);

}  // namespace stillrotor
