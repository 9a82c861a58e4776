// Firmware as Intel HEX: what is read, and each refusal with its line.
#include <gmock/gmock.h>

#include <random>

#include "io/mcu/intel_hex.hpp"
#include "tests/io/mcu/chip.hpp"

namespace stillrotor::io::test {
namespace {

using namespace mcu;
using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

const Part small = [] {
  Part part = atmega328p;
  part.name = "a small part";
  part.flash_bytes = 64;
  part.eeprom_bytes = 16;
  return part;
}();

Firmware read(const std::string& text) { return read_intel_hex(text, small, "x.hex"); }

/// A record with its checksum: the two's complement of the sum of its bytes.
std::string record(unsigned type, unsigned offset, const std::vector<std::uint8_t>& data) {
  std::vector<unsigned> bytes{static_cast<unsigned>(data.size()), offset >> 8, offset & 255, type};
  bytes.insert(bytes.end(), data.begin(), data.end());
  unsigned sum = 0;
  for (const unsigned byte : bytes) sum += byte;
  bytes.push_back(-sum & 255);
  std::string text = ":";
  char digits[3];
  for (const unsigned byte : bytes) {
    std::snprintf(digits, sizeof digits, "%02X", byte);
    text += digits;
  }
  return text + "\n";
}

const std::string end = ":00000001FF\n";

std::string refusal(const std::string& text) {
  try {
    read(text);
  } catch (const ConfigError& error) {
    EXPECT_EQ(error.path, "controller.firmware");
    return error.what();
  }
  return "accepted";
}

// By hand: 03 + 00 + 30 + 00 + 02 + 33 + 7A = E2, its complement 1E.
TEST(IntelHex, DataLiesWhereItsRecordSays) {
  const Firmware firmware = read(":0300300002337A1E\n:020000000102FB\n" + end);
  ASSERT_EQ(firmware.flash.size(), 0x33u);
  EXPECT_EQ(firmware.flash[0], 1);
  EXPECT_EQ(firmware.flash[2], 0xff) << "not given: as erased";
  EXPECT_EQ(firmware.flash[0x30], 0x02);
  EXPECT_EQ(firmware.flash[0x32], 0x7a);
  EXPECT_TRUE(firmware.eeprom.empty());
}

TEST(IntelHex, LineEndsAndSmallLettersAreOfNoMatter) {
  EXPECT_THAT(read(":020000000a0bE9\r\n\r\n:00000001ff").flash, ElementsAre(0x0a, 0x0b));
}

TEST(IntelHex, BaseAddressesCountFromTheirRecordOn) {
  const std::string in_segment = record(2, 0, {0x00, 0x02}) + record(0, 1, {7});  // 0x20 + 1
  EXPECT_EQ(read(in_segment + end).flash.at(0x21), 7);
  const std::string eeprom = record(4, 0, {0x00, 0x81}) + record(0, 2, {9});  // 0x810002
  const Firmware firmware =
      read(in_segment + eeprom + record(4, 0, {0, 0}) + record(0, 0, {5}) + end);
  EXPECT_THAT(firmware.eeprom, ElementsAre(0xff, 0xff, 9));
  EXPECT_EQ(firmware.flash[0], 5);
}

TEST(IntelHex, StartAddressesAndFusesChangeNothing) {
  EXPECT_THAT(read(record(3, 0, {0, 0, 0, 0}) + record(5, 0, {0, 0, 0x10, 0}) + record(0, 0, {1}) +
                   record(4, 0, {0, 0x82}) + record(0, 0, {0xff, 0xd9}) + end)
                  .flash,
              ElementsAre(1));
}

TEST(IntelHex, EveryFaultIsToldWithItsLineValueAndRemedy) {
  const std::string good = record(0, 0, {1, 2});
  const auto expect = [](const std::string& text, const auto& words) {
    EXPECT_THAT(refusal(text), words) << text;
  };
  expect(":0300300002337A1F\n" + end,
         HasSubstr("x.hex:1: the checksum is 0x1F; 0x1E is due. The file is damaged"));
  expect(good + "0100000001FE\n" + end, HasSubstr("x.hex:2: '0' begins the line"));
  expect(good + ":01000O0001FE\n" + end, HasSubstr("x.hex:2: 'O' is no hexadecimal digit"));
  expect(good + ":0100000001FE \n" + end, HasSubstr("x.hex:2: byte 0x20 is no hexadecimal digit"));
  expect(":010000000\n" + end, HasSubstr("x.hex:1: the record has 9 digits, an odd number"));
  expect(":0100\n" + end, HasSubstr("x.hex:1: the record has 2 bytes; the shortest has 5"));
  expect(":020000000102\n" + end, HasSubstr("x.hex:1: the record says 2 bytes of data and has 1"));
  expect(":0100000001020000FC\n" + end,
         HasSubstr("x.hex:1: the record says 1 bytes of data and has 4"));
  expect(good + record(6, 0, {}) + end,
         AllOf(HasSubstr("x.hex:2: record type 06"), HasSubstr("allowed 00 to 05"),
               HasSubstr("objcopy -O ihex")));
  expect(record(4, 0, {0}) + end, HasSubstr("extended linear address) has 1 bytes of data"));
  expect(record(2, 4, {0, 0}) + end, HasSubstr("offset 0004; due: 2 and 0000"));
  expect(record(5, 0, {0, 0}) + end, HasSubstr("start linear address) has 2 bytes"));
  expect(record(1, 0, {3}), HasSubstr("end of file) has 1 bytes of data"));
  expect(good + record(0, 4, {3}) + record(0, 1, {9, 9}) + end,
         HasSubstr("x.hex:3: the byte at 0x0001 of program memory is given already, in line 1"));
  expect(good + record(0, 63, {1, 2}) + end,
         HasSubstr("x.hex:2: address 0x0040 is beyond the 64 bytes of program memory of a small "
                   "part. Make the firmware smaller"));
  expect(record(4, 0, {0, 0x81}) + record(0, 16, {1}) + end,
         HasSubstr("x.hex:2: address 0x0010 is beyond the 16 bytes of EEPROM"));
  expect(record(2, 0, {0xff, 0xff}) + record(0, 0xffff, {1, 2}) + end, HasSubstr("x.hex:2: "));
  expect(record(4, 0, {0x00, 0x80}) + record(0, 0x100, {1}) + end,
         HasSubstr("x.hex:2: address 0x800100 is in RAM"));
  expect(good + end + good, HasSubstr("x.hex:3: stands behind the end-of-file record"));
  expect(good, HasSubstr("x.hex:1: :00000001FF, the end-of-file record, is missing"));
  expect(end, HasSubstr("x.hex:1: the file holds no program"));
  EXPECT_EQ(refusal(record(0, 62, {1, 2}) + end), "accepted") << "the control";
}

// One change to a file: it is refused, or read as it stood, for the checksum covers each byte.
TEST(IntelHex, SurvivesWhateverIsDoneToItsBytes) {
  std::string whole;
  for (unsigned i = 0; i < 4; ++i)
    whole += record(0, 16 * i, {0x0c, 0x94, 0x34, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12});
  whole += end;
  const auto content = read(whole).flash;
  std::mt19937 random(7);
  int refused = 0;
  for (int round = 0; round < 5000; ++round) {
    std::string text = whole;
    const std::size_t at = random() % text.size();
    const auto byte =
        static_cast<char>(random() % 3 == 0 ? random() : "0123456789ABCDEF:\n"[random() % 18]);
    switch (random() % 4) {
      case 0:
        text[at] = byte;
        break;
      case 1:
        text.erase(at, 1 + random() % 40);
        break;
      case 2:
        text.insert(at, 1, byte);
        break;
      default:
        text.resize(at);
    }
    try {
      EXPECT_EQ(read(text).flash, content) << text;
    } catch (const ConfigError&) {
      ++refused;
    }
  }
  EXPECT_GT(refused, 4000);
}

TEST(IntelHex, SurvivesNoise) {
  std::mt19937 random(8);
  for (int round = 0; round < 2000; ++round) {
    std::string text = ":";
    for (auto n = random() % 60; n > 0; --n) text += static_cast<char>(random());
    EXPECT_NE(refusal(text), "accepted");
  }
}

class HexFirmware : public ::testing::Test {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

// objcopy -O ihex wrote the one from the other, EEPROM included: every edge, sample and word is the
// same.
TEST_F(HexFirmware, RunsAsTheElfFileThatItWasMadeFrom) {
  const auto run = [](const std::string& suffix) {
    McuConfig config = usual_wiring("eeprom_speaks");
    config.firmware.replace_extension(suffix);
    auto chip = std::make_unique<Chip>(config);
    chip->power(5.0);
    chip->run(std::chrono::milliseconds(20));
    return chip;
  };
  const auto elf = run(".elf"), hex = run(".hex");
  ASSERT_EQ(elf->said.size(), 1u);
  EXPECT_EQ(elf->said[0].second, "orchard");
  EXPECT_EQ(hex->said, elf->said);
  EXPECT_GT(elf->steps(line::gate_UL).size(), 3u);
  EXPECT_EQ(hex->steps(line::gate_UL), elf->steps(line::gate_UL));
}

TEST_F(HexFirmware, OfABiggerPartIsRefusedWithItsLine) {
  McuConfig config = usual_wiring("too_big");
  config.firmware.replace_extension(".hex");
  try {
    make_mcu(config);
    FAIL() << "accepted";
  } catch (const ConfigError& error) {
    EXPECT_THAT(error.what(), AllOf(HasSubstr("test_too_big.hex:2049: address 0x8000 is beyond the "
                                              "32768 bytes of program memory of atmega328p")));
  }
}

}  // namespace
}  // namespace stillrotor::io::test
