// Pins by name, the same for a bench and for the part.
#include "io/mcu/parts/pin_names.hpp"

#include <gtest/gtest.h>

namespace stillrotor::io::mcu {
namespace {

// Source: data sheets of the parts, pin configurations (from memory): ADC0 to ADC5 are PC0 to PC5,
// AIN0 PD6 and AIN1 PD7; ADC6 and ADC7 have no port.
TEST(PinNames, OnePinHasOneName) {
  for (const Part* part : parts()) {
    EXPECT_EQ(physical_pin(*part, "ADC3"), "PC3");
    EXPECT_EQ(physical_pin(*part, "PC3"), "PC3");
    EXPECT_EQ(physical_pin(*part, "ADC6"), "ADC6");
    EXPECT_EQ(physical_pin(*part, "AIN0"), "PD6");
    EXPECT_EQ(physical_pin(*part, "AIN1"), "PD7");
    for (const char* none : {"PB6", "PC6", "PE0", "ADC8", "PD", "pd1", "", "PD10", "ADC", "AIN2",
                             "PD8", "PB/", "AIN", "PA0"})
      EXPECT_EQ(physical_pin(*part, none), "") << none;
  }
}

TEST(PinNames, AnalogInputsHaveTheirNumberOrTheirPort) {
  EXPECT_EQ(find_analog_input(atmega8, "ADC7"), 7u);
  EXPECT_EQ(find_analog_input(atmega8, "PC5"), 5u);
  EXPECT_EQ(find_analog_input(atmega8, "PD7"), ain1);
  EXPECT_EQ(find_analog_input(atmega8, "PD2"), std::nullopt);
  EXPECT_EQ(find_pin(atmega8, "ADC6"), std::nullopt);
  EXPECT_EQ(find_pin(atmega8, "PD2"), (Pin{2, 2}));
}

TEST(PinNames, AllowedOnesAreSaid) {
  EXPECT_EQ(allowed_pins(atmega328p), "PB0 to PB5, PC0 to PC5, PD0 to PD7");
  EXPECT_EQ(allowed_analog_inputs(atmega8),
            "ADC0 (PC0), ADC1 (PC1), ADC2 (PC2), ADC3 (PC3), ADC4 (PC4), ADC5 (PC5), ADC6, ADC7, "
            "AIN0 (PD6), AIN1 (PD7)");
}

TEST(PinNames, PartsAreFoundByName) {
  EXPECT_EQ(find_part("atmega8"), &atmega8);
  EXPECT_EQ(find_part("atmega2560"), nullptr);
  EXPECT_EQ(part_names(), "atmega328p, atmega8");
}

}  // namespace
}  // namespace stillrotor::io::mcu
