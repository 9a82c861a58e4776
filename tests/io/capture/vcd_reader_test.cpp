// Source of the format: IEEE Std 1364-2005, section 18 (value change dump); the clauses named
// below are its own, from memory. Expected times are tick times timescale, by hand.
#include "io/capture/vcd_reader.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "recording.hpp"

namespace stillrotor::io::test {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::StartsWith;

struct Seen {
  std::vector<VcdVariable> variables;
  std::vector<VcdChange> changes;
  Time end{};
  double tick_s = 0.0;
};
Seen read_all(std::string_view bytes) {
  const Recording recording(bytes);
  VcdReader reader(recording.path(), "controller.file");
  Seen seen{reader.variables(), {}, {}, reader.tick_s()};
  for (VcdChange change; reader.next(change);) seen.changes.push_back(change);
  seen.end = reader.time();
  return seen;
}

const std::string one_bit = "$var wire 1 ! a $end $enddefinitions $end\n";
std::string with_scale(const std::string& scale) {
  return "$timescale " + scale + " $end " + one_bit;
}

// 18.2.3.4: 1, 10 or 100 of s, ms, us, ns, ps, fs, with or without a blank between.
TEST(VcdReader, KnowsEveryTimescale) {
  const std::vector<std::pair<std::string, std::int64_t>> five_ticks = {
      {"1 s", 5'000'000'000'000},
      {"10s", 50'000'000'000'000},
      {"100 s", 500'000'000'000'000},
      {"1ms", 5'000'000'000},
      {"10 us", 50'000'000},
      {"100 ns", 500'000},
      {"1 ns", 5'000},
      {"10ps", 50},
      {"1\n ps", 5}};
  for (const auto& [scale, expected] : five_ticks)
    EXPECT_EQ(read_all(with_scale(scale) + "#5 1!").changes.at(0).at, Time(expected)) << scale;
}

// 1 ps is our resolution: 1499 fs is 1 ps, 1500 fs is 2 ps; 14 ticks of 100 fs are 1 ps, 15 are 2.
TEST(VcdReader, RoundsFemtosecondsToTheNearestPicosecond) {
  EXPECT_EQ(read_all(with_scale("1 fs") + "#1499 1!").changes.at(0).at, Time(1));
  EXPECT_EQ(read_all(with_scale("1 fs") + "#1500 1!").changes.at(0).at, Time(2));
  EXPECT_EQ(read_all(with_scale("100 fs") + "#14 1!").changes.at(0).at, Time(1));
  EXPECT_EQ(read_all(with_scale("100 fs") + "#15 1!").changes.at(0).at, Time(2));
  EXPECT_DOUBLE_EQ(read_all(with_scale("100 fs") + "#1 1!").tick_s, 1e-13);
}

// 18.2.3.2, 18.2.3.3, 18.2.3.8: scopes nest; a bit select belongs to the name, a range does not.
TEST(VcdReader, NamesVariablesByTheirScopes) {
  const auto seen = read_all(
      "$timescale 1 ns $end\n$scope module board $end\n$var wire 1 ! a $end\n"
      "$scope module mcu $end\n$var reg 1 \" g [2] $end\n$var reg 8 # port [7:0] $end\n"
      "$var reg 8 % word[7:0] $end\n$var real 64 & speed $end\n$upscope $end\n"
      "$var wire 1 ! alias $end\n$upscope $end\n$enddefinitions $end\n");
  ASSERT_EQ(seen.variables.size(), 6u);
  EXPECT_EQ(seen.variables[0].path, "board.a");
  EXPECT_EQ(seen.variables[1].path, "board.mcu.g[2]");
  EXPECT_EQ(seen.variables[2].path, "board.mcu.port");
  EXPECT_EQ(seen.variables[2].width, 8u);
  EXPECT_EQ(seen.variables[3].name, "word");
  EXPECT_TRUE(seen.variables[4].real);
  EXPECT_EQ(seen.variables[5].path, "board.alias");
  EXPECT_EQ(seen.variables[5].code, seen.variables[0].code);  // one id, one signal
}

// 18.2.1: scalars without a blank, vectors with one; x and z in both cases; $dumpvars and its kin
// are only brackets; comments may stand anywhere between.
TEST(VcdReader, ReadsScalarsVectorsAndTheirFourStates) {
  const auto seen = read_all(with_scale("1 ns") +
                             "$comment #7 1! is no value $end\n#0 $dumpvars x! $end\n#1 1!\n"
                             "#2 Z! $comment $end #3 b0 !\n#4 B01z !\n#5 $dumpoff X! $end\n"
                             "#6 $dumpon 0! $end r1.5 ! sidle !\n#9\n");
  const std::vector<VcdValue> expected = {VcdValue::unknown, VcdValue::one,      VcdValue::released,
                                          VcdValue::zero,    VcdValue::released, VcdValue::unknown,
                                          VcdValue::zero};
  ASSERT_EQ(seen.changes.size(), expected.size());
  for (std::size_t k = 0; k < expected.size(); ++k) {
    EXPECT_EQ(seen.changes[k].value, expected[k]) << k;
    EXPECT_EQ(seen.changes[k].at, Time(1000 * static_cast<std::int64_t>(k)));
  }
  EXPECT_EQ(seen.end, Time(9000));
}

TEST(VcdReader, DoesNotMindCarriageReturnsOrAMissingLastNewline) {
  const auto seen = read_all(
      "$timescale\r\n 1 ns\r\n$end\r\n$var wire 1 ! a $end\r\n"
      "$enddefinitions $end\r\n#1\r\n1!\r\n#2\r\n0!");
  ASSERT_EQ(seen.changes.size(), 2u);
  EXPECT_EQ(seen.changes[1].at, Time(2000));
}

// Words that straddle the reader's 64 KiB window come out whole: 60,000 changes are about 700 kB.
TEST(VcdReader, ReadsAcrossItsWindow) {
  std::string text = with_scale("1 ns");
  for (int k = 1; k <= 60'000; ++k)
    text += "#" + std::to_string(k * 37) + "\n" + (k % 2 ? "1!" : "0!") + "\n";
  const auto seen = read_all(text);
  ASSERT_EQ(seen.changes.size(), 60'000u);
  for (int k = 1; k <= 60'000; ++k) {
    ASSERT_EQ(seen.changes[k - 1].at, Time(37'000LL * k));
    ASSERT_EQ(seen.changes[k - 1].value, k % 2 ? VcdValue::one : VcdValue::zero);
  }
}

// Every refusal: where it stands, what is wrong, what to do.
struct Bad {
  const char* name;
  std::string bytes;
  const char* where;  // the line
  const char* says;
};
class VcdReaderRefuses : public testing::TestWithParam<Bad> {};

TEST_P(VcdReaderRefuses, WithLineReasonAndRemedy) {
  const auto said = reader_refusal(GetParam().bytes);
  EXPECT_THAT(said, AllOf(StartsWith(GetParam().where), HasSubstr(GetParam().says)));
  EXPECT_GE(std::count(said.begin(), said.end(), '.'), 2) << "no remedy: " << said;
  for (char c : said) EXPECT_TRUE(c >= 0x20 && c < 0x7f) << "unprintable byte in: " << said;
}

const std::string body = "$timescale 1 ns $end\n$var wire 1 ! a $end\n$enddefinitions $end\n";
INSTANTIATE_TEST_SUITE_P(
    Malformed, VcdReaderRefuses,
    testing::Values(
        Bad{"EmptyFile", "", ":1: ", "the file is empty"},
        Bad{"BlankFile", "\n\n  \n", ":4: ", "the file is empty"},
        Bad{"Prose", "Dear reader,\n", ":1: ", "'Dear' at the start"},
        Bad{"Binary",
            std::string("\x7f"
                        "ELF\x02\x01\0\0",
                        8),
            ":1: ", "byte 127 is not text"},
        Bad{"HighBytes", "\xff\xfe$timescale", ":1: ", "this is not a VCD"},
        Bad{"NulInValues", body + std::string("#1\n1\0!\n", 7), ":5: ", "byte 0 is not text"},
        Bad{"ShellScript", "$PATH\n", ":1: ", "this is not a VCD"},
        Bad{"HeaderCutShort", "$timescale 1 ns $end\n$var wire 1 ! a $end\n",
            ":3: ", "before $enddefinitions"},
        Bad{"VarCutShort", "$var wire 1", ":1: ", "ends inside $var"},
        Bad{"CommentWithoutEnd", "$timescale 1 ns $end\n$comment for ever\n and ever",
            ":2: ", "$comment has no $end"},
        Bad{"NoTimescale", "$var wire 1 ! a $end\n$enddefinitions $end\n", ":2: ", "no $timescale"},
        Bad{"TwoTimescales", "$timescale 1 ns $end\n$timescale 1 us $end\n",
            ":2: ", "second $timescale"},
        Bad{"TimescaleOfTwo", "$timescale 2 ns $end\n", ":1: ", "allowed 1, 10 or 100"},
        Bad{"TimescaleOfMinutes", "$timescale 1 min $end\n", ":1: ", "allowed 1, 10 or 100"},
        Bad{"TimescaleHuge", "$timescale 1000000000000000000000 s $end\n",
            ":1: ", "allowed 1, 10 or 100"},
        Bad{"SizeOfAVariable", "$var wire one ! a $end\n", ":1: ", "size 'one'"},
        Bad{"UpscopeTooMany", "$upscope $end\n", ":1: ", "$upscope without"},
        Bad{"UnknownId", body + "#1\n1?\n", ":5: ", "'?', which no $var declares"},
        Bad{"UnknownVectorId", body + "#1\nb1 ?\n", ":5: ", "which no $var declares"},
        Bad{"VectorOfDigits", body + "#1\nb12 !\n", ":5: ", "not a binary value"},
        Bad{"VectorCutShort", body + "#1\nb1", ":5: ", "ends inside a value"},
        Bad{"TimeIsText", body + "#soon\n", ":4: ", "'soon' is not a number"},
        Bad{"TimeIsNegative", body + "#-5\n", ":4: ", "'-5' is not a number"},
        Bad{"TimeIsEmpty", body + "#\n", ":4: ", "'' is not a number"},
        Bad{"TimeOverflowsUint64", body + "#99999999999999999999999\n", ":4: ", "beyond 106 days"},
        // 9.3e15 ns is 107 days; int64 picoseconds end at 106.75.
        Bad{"TimeOverflowsPicoseconds", body + "#9300000000000000\n", ":4: ", "beyond 106 days"},
        Bad{"TimeRunsBackwards", body + "#5\n1!\n#4\n",
            ":6: ", "earlier than the one before it, 5"},
        Bad{"UnknownSection", body + "#1\n$dumpsome\n",
            ":5: ", "'$dumpsome' among the value changes"},
        Bad{"PortDump", body + "$dumpports pU 0 6 ! $end\n", ":4: ", "extended (port) dump"},
        Bad{"StrayWord", body + "#1\nhello\n", ":5: ", "neither a time nor a value"}),
    [](const auto& bad) { return std::string(bad.param.name); });

TEST(VcdReader, RefusesWhatIsNoFile) {
  const auto refuse = [](const std::filesystem::path& path) -> std::string {
    try {
      VcdReader reader(path, "controller.file");
    } catch (const ConfigError& error) {
      EXPECT_EQ(error.path, "controller.file");
      return error.what();
    }
    return {};
  };
  EXPECT_THAT(refuse("/nowhere/at/all.vcd"), HasSubstr("no such file"));
  EXPECT_THAT(refuse(std::filesystem::temp_directory_path()), HasSubstr("not a regular file"));
  EXPECT_THAT(refuse("/dev/zero"), HasSubstr("not a regular file"));
  EXPECT_THAT(refuse(""), HasSubstr("Name a VCD file"));
}

TEST(VcdReader, BoundsWhatAHostileHeaderCanMakeItKeep) {
  std::string deep = "$timescale 1 ns $end\n";
  for (int k = 0; k < 65; ++k) deep += "$scope module m $end\n";
  EXPECT_THAT(reader_refusal(deep), HasSubstr("deeper than 64"));
  std::string wide = "$timescale 1 ns $end\n";
  for (int k = 0; k < 65'537; ++k) wide += "$var wire 1 ! a $end\n";
  EXPECT_THAT(reader_refusal(wide), HasSubstr("more than 65536 variables"));
  EXPECT_THAT(reader_refusal("$var wire 1 ! " + std::string(2000, 'a') + " $end\n"),
              HasSubstr("more than 1024 characters"));
  EXPECT_THAT(reader_refusal("$comment " + std::string(2'000'000, 'a')),
              HasSubstr("million characters"));
  EXPECT_THAT(reader_refusal(body), IsEmpty());
}

}  // namespace
}  // namespace stillrotor::io::test
