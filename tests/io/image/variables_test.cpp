// What the debug information of real compilers says of firmware/drive.h, for both families, as
// DWARF of two ages, with and without whole-program optimisation; and what there is without any.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "io/connector.hpp"
#include "io/mcu/image/variables.hpp"

namespace stillrotor::io::mcu {
namespace {

using testing::Contains;
using testing::HasSubstr;
using testing::Not;
using Kind = ValueType::Kind;

struct Family {
  const char* file;
  bool there;
  ElfTarget target;
  std::uint64_t ram, bytes;
};
#ifdef STILLROTOR_HAS_CORTEX_FIRMWARE
constexpr bool has_arm = true;
#else
constexpr bool has_arm = false;
#endif
#ifdef STILLROTOR_HAS_FIRMWARE
constexpr bool has_avr = true;
#else
constexpr bool has_avr = false;
#endif
const ElfTarget arm{EM_ARM, "Arm", "arm-none-eabi-gcc"}, avr{EM_AVR, "AVR", "avr-gcc"};
Family of_arm(const char* file) { return {file, has_arm, arm, 0x20000000, 0x20000}; }
Family of_avr(const char* file) { return {file, has_avr, avr, 0x800100, 0x800}; }

Variables read(const Family& f) {
  return read_variables(std::string(STILLROTOR_BUILD_DIR "/firmware/") + f.file, f.target,
                        [f](std::uint64_t at, std::uint64_t bytes) {
                          return at >= f.ram && at + bytes <= f.ram + f.bytes;
                        });
}
const Variable& find(const Variables& v, std::string_view name, std::string_view function = "") {
  for (const Variable& one : v.all)
    if (one.name == name && one.function == function) return one;
  throw std::runtime_error("no variable " + std::string(name));
}
const Member& member(const Variables& v, TypeIndex type, std::string_view name) {
  for (const Member& m : v.types[type].members)
    if (m.name == name) return m;
  throw std::runtime_error("no member " + std::string(name));
}

class Described : public testing::TestWithParam<Family> {
  void SetUp() override {
    if (!GetParam().there) GTEST_SKIP() << "the compiler for " << GetParam().file << " is missing";
  }
};
INSTANTIATE_TEST_SUITE_P(, Described,
                         testing::Values(of_arm("variables_arm.elf"),
                                         of_arm("variables_arm_dwarf2.elf"),
                                         of_arm("variables_arm_whole.elf"),
                                         of_avr("variables_avr.elf")),
                         [](const auto& one) {
                           const std::string name = one.param.file;
                           return name.substr(0, name.find('.'));
                         });

TEST_P(Described, HaveNumbersOfTheirSizeAndSign) {
  const Variables v = read(GetParam());
  ASSERT_EQ(v.untyped, "");
  const Variable& drive = find(v, "drive");
  const std::tuple<const char*, const char*, VariableType> numbers[] = {
      {"iq_target", "amperes", VariableType::float32},
      {"enabled", nullptr, VariableType::uint8},
      {"ticks", "uint64_t", VariableType::uint64},
      {"position", "int64_t", VariableType::int64},
  };
  for (const auto& [name, type, number] : numbers) {
    const ValueType& found = v.types[member(v, *drive.type, name).type];
    EXPECT_EQ(found.kind, Kind::number) << name;
    EXPECT_EQ(found.number, number) << name;
    if (type != nullptr) {
      EXPECT_EQ(found.name, type);
    }
    EXPECT_EQ(found.bytes, bytes_of(number)) << name;
  }
  const ValueType& state = v.types[member(v, *drive.type, "state").type];
  EXPECT_EQ(state.name, "enum state");
  EXPECT_FALSE(is_signed(state.number) && state.bytes == 1);  // it holds 200
  EXPECT_TRUE(is_signed(v.types[member(v, *drive.type, "direction").type].number));
  // avr-gcc 5 makes a double of four bytes.
  const ValueType& energy = v.types[member(v, *drive.type, "energy_J").type];
  EXPECT_EQ(energy.number,
            GetParam().target.machine == EM_AVR ? VariableType::float32 : VariableType::float64);
  EXPECT_EQ(energy.bytes, bytes_of(energy.number));
}

TEST_P(Described, HaveMembersAndElements) {
  const Variables v = read(GetParam());
  const Variable& drive = find(v, "drive");
  EXPECT_THAT(drive.file, testing::EndsWith("/drive.c"));
  EXPECT_EQ(v.types[*drive.type].bytes, drive.bytes);
  const ValueType& axes = v.types[member(v, *drive.type, "axis").type];
  ASSERT_EQ(axes.kind, Kind::array);
  EXPECT_EQ(axes.count, 3U);
  const ValueType& axis = v.types[axes.element];
  EXPECT_EQ(axis.name, "struct axis");
  EXPECT_EQ(v.types[member(v, axes.element, "source").type].name, "a pointer");
  const Member& pids = member(v, axes.element, "pid");
  EXPECT_EQ(pids.offset,
            GetParam().target.machine == EM_AVR ? 1U : 4U);  // nothing is aligned there
  EXPECT_EQ(v.types[pids.type].count, 2U);
  EXPECT_EQ(member(v, v.types[pids.type].element, "integral").offset, 4U);
  const ValueType& table = v.types[member(v, *drive.type, "table").type];
  EXPECT_EQ(table.count, 2U);
  EXPECT_EQ(v.types[table.element].count, 3U);
  EXPECT_EQ(v.types[v.types[table.element].element].number, VariableType::int16);
  const Member& unnamed = member(v, *drive.type, "");
  EXPECT_EQ(member(v, unnamed.type, "word").offset, 0U);
  EXPECT_EQ(member(v, unnamed.type, "bytes").offset, 0U);
}

// By hand: both lay fields out from the least significant bit; the Arm's aligns the 16-bit unit
// that code does not fit into, the AVR's goes on at the next byte.
TEST_P(Described, HaveBitFields) {
  const Variables v = read(GetParam());
  const Member& flags = member(v, *find(v, "drive").type, "flags");
  const auto place = [&](const char* name) {
    const Member& m = member(v, flags.type, name);
    return std::tuple(m.offset, int{m.bit}, int{m.bits});
  };
  EXPECT_EQ(place("armed"), std::tuple(0U, 0, 1));
  EXPECT_EQ(place("level"), std::tuple(0U, 1, 3));
  EXPECT_EQ(place("trim"), std::tuple(0U, 4, 4));
  EXPECT_EQ(std::get<2>(place("code")), 11);
  EXPECT_EQ(place("code"),
            GetParam().target.machine == EM_AVR ? std::tuple(1U, 0, 11) : std::tuple(2U, 0, 11));
}

TEST_P(Described, StandInFilesAndFunctions) {
  const Variables v = read(GetParam());
  EXPECT_NE(find(v, "step", "first").address, find(v, "step", "second").address);
  EXPECT_THAT(find(v, "step", "first").symbol, testing::StartsWith("step."));
  EXPECT_THAT(find(v, "gain", "other").file, testing::EndsWith("/other.c"));
  EXPECT_EQ(find(v, "gain", "other").bytes, 1U);
  EXPECT_EQ(find(v, "gain").bytes, 4U);
  std::vector<std::string> files;
  for (const Variable& one : v.all)
    if (one.name == "count") files.push_back(one.file.substr(one.file.rfind('/') + 1));
  EXPECT_THAT(files, testing::UnorderedElementsAre("drive.c", "other.c"));
}

TEST(Undescribed, HaveNamesAndTheReason) {
  if (!has_arm) GTEST_SKIP() << "arm-none-eabi-gcc is not installed";
  const Variables v = read(of_arm("variables_arm_plain.elf"));
  EXPECT_THAT(v.untyped, HasSubstr("no debug information. Compile and link it with -g"));
  EXPECT_TRUE(v.types.empty());
  EXPECT_FALSE(find(v, "drive").type);
  EXPECT_EQ(find(v, "gain").bytes, 4U);
}

TEST(OfClasses, HaveTheirNamespaces) {
  if (!has_arm) GTEST_SKIP() << "arm-none-eabi-gcc is not installed";
  const Variables v = read(of_arm("variables_arm_cpp.elf"));
  EXPECT_EQ(v.types[*find(v, "motor::state").type].number, VariableType::uint8);
  EXPECT_EQ(v.types[*find(v, "motor::Loop::limit").type].number, VariableType::float32);
  EXPECT_EQ(find(v, "motor::state").symbol, "_ZN5motor5stateE");
  const Variable& loop = find(v, "motor::loop");
  EXPECT_EQ(member(v, *loop.type, "integral").offset, 4U);
  EXPECT_EQ(member(v, member(v, *loop.type, "").type, "offset").offset, 0U);  // of its base
  EXPECT_EQ(v.types[*find(v, "turns", "turn").type].number, VariableType::int32);
}

TEST(OfNoElfFile, AreRefused) {
  if (!has_avr) GTEST_SKIP() << "avr-gcc is not installed";
  try {
    read(of_avr("orchard_six_step.hex"));
    FAIL() << "it was read";
  } catch (const ConfigError& error) {
    EXPECT_THAT(error.what(), HasSubstr("orchard_six_step.hex names no variables"));
  }
}

}  // namespace
}  // namespace stillrotor::io::mcu
