// STM32F405: which bit of RCC gives each block its clock, and which holds it in reset.
//
// Source RM0090, 7.3.5 to 7.3.14 (AHB1RSTR to APB2ENR); bits from memory.
#include "io/mcu/cortexm/parts/part.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word { AHB1 = 0x30, AHB2 = 0x34, APB1 = 0x40, APB2 = 0x44 };

constexpr ClockRow bit(Word base, Word enable, unsigned number) {
  return {base, enable, Word{1} << number, Word{1} << number};
}

constexpr ClockRow rows[] = {
    bit(0x40020000, AHB1, 0),         // GPIOA
    bit(0x40020400, AHB1, 1),         // GPIOB
    bit(0x40020800, AHB1, 2),         // GPIOC
    bit(0x40020C00, AHB1, 3),         // GPIOD
    bit(0x40021000, AHB1, 4),         // GPIOE
    bit(0x40021400, AHB1, 5),         // GPIOF
    bit(0x40021800, AHB1, 6),         // GPIOG
    bit(0x40021C00, AHB1, 7),         // GPIOH
    bit(0x40022000, AHB1, 8),         // GPIOI
    bit(0x40023000, AHB1, 12),        // CRC
    {0x40024000, AHB1, 1u << 18, 0},  // BKPSRAM: no reset
    bit(0x40026000, AHB1, 21),        // DMA1
    bit(0x40026400, AHB1, 22),        // DMA2
    bit(0x40040000, AHB1, 29),        // USB_OTG_HS
    bit(0x50060800, AHB2, 6),         // RNG
    bit(0x50000000, AHB2, 7),         // USB_OTG_FS

    bit(0x40000000, APB1, 0),   // TIM2
    bit(0x40000400, APB1, 1),   // TIM3
    bit(0x40000800, APB1, 2),   // TIM4
    bit(0x40000C00, APB1, 3),   // TIM5
    bit(0x40001000, APB1, 4),   // TIM6
    bit(0x40001400, APB1, 5),   // TIM7
    bit(0x40001800, APB1, 6),   // TIM12
    bit(0x40001C00, APB1, 7),   // TIM13
    bit(0x40002000, APB1, 8),   // TIM14
    bit(0x40002C00, APB1, 11),  // WWDG
    bit(0x40003800, APB1, 14),  // SPI2
    bit(0x40003C00, APB1, 15),  // SPI3
    bit(0x40004400, APB1, 17),  // USART2
    bit(0x40004800, APB1, 18),  // USART3
    bit(0x40004C00, APB1, 19),  // UART4
    bit(0x40005000, APB1, 20),  // UART5
    bit(0x40005400, APB1, 21),  // I2C1
    bit(0x40005800, APB1, 22),  // I2C2
    bit(0x40005C00, APB1, 23),  // I2C3
    bit(0x40006400, APB1, 25),  // CAN1
    bit(0x40006800, APB1, 26),  // CAN2
    bit(0x40007000, APB1, 28),  // PWR
    bit(0x40007400, APB1, 29),  // DAC

    bit(0x40010000, APB2, 0),  // TIM1
    bit(0x40010400, APB2, 1),  // TIM8
    bit(0x40011000, APB2, 4),  // USART1
    bit(0x40011400, APB2, 5),  // USART6
    // Converters have clocks of their own, one reset, and registers in common.
    {0x40012000, APB2, 1u << 8, 1u << 8},
    {0x40012100, APB2, 1u << 9, 1u << 8},
    {0x40012200, APB2, 1u << 10, 1u << 8},
    {0x40012300, APB2, 7u << 8, 1u << 8},
    bit(0x40012C00, APB2, 11),  // SDIO
    bit(0x40013000, APB2, 12),  // SPI1
    bit(0x40013800, APB2, 14),  // SYSCFG
    bit(0x40014000, APB2, 16),  // TIM9
    bit(0x40014400, APB2, 17),  // TIM10
    bit(0x40014800, APB2, 18),  // TIM11
};

}  // namespace

const std::span<const ClockRow> stm32f405_clocks{rows};

}  // namespace stillrotor::io::cortexm
