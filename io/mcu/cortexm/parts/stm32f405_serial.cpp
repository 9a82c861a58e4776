// STM32F405: SPI and I2C, their pins, and the DMA streams of serial blocks.
//
// Source RM0090, tables of DMA requests (10.3.3); datasheet, table of alternate functions; from
//        memory.
#include "io/mcu/cortexm/parts/serial.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr Word SPI1 = 0x40013000, SPI2 = 0x40003800, SPI3 = 0x40003C00, I2C1 = 0x40005400,
               I2C2 = 0x40005800, I2C3 = 0x40005C00, USART1 = 0x40011000, USART2 = 0x40004400,
               USART3 = 0x40004800, UART4 = 0x40004C00, UART5 = 0x40005000, USART6 = 0x40011400;

constexpr SpiBlock spis[] = {
    {"SPI1", SPI1, 35, true}, {"SPI2", SPI2, 36, false}, {"SPI3", SPI3, 51, false}};
constexpr I2cBlock i2cs[] = {
    {"I2C1", I2C1, 31, 32}, {"I2C2", I2C2, 33, 34}, {"I2C3", I2C3, 72, 73}};

using enum SerialPin;
constexpr SerialWire wires[] = {
    {SPI1, clock, 'A', 5, 5},  {SPI1, in, 'A', 6, 5},     {SPI1, out, 'A', 7, 5},
    {SPI1, clock, 'B', 3, 5},  {SPI1, in, 'B', 4, 5},     {SPI1, out, 'B', 5, 5},
    {SPI2, clock, 'B', 10, 5}, {SPI2, clock, 'B', 13, 5}, {SPI2, clock, 'I', 1, 5},
    {SPI2, in, 'B', 14, 5},    {SPI2, in, 'C', 2, 5},     {SPI2, in, 'I', 2, 5},
    {SPI2, out, 'B', 15, 5},   {SPI2, out, 'C', 3, 5},    {SPI2, out, 'I', 3, 5},
    {SPI3, clock, 'B', 3, 6},  {SPI3, in, 'B', 4, 6},     {SPI3, out, 'B', 5, 6},
    {SPI3, clock, 'C', 10, 6}, {SPI3, in, 'C', 11, 6},    {SPI3, out, 'C', 12, 6},

    {I2C1, clock, 'B', 6, 4},  {I2C1, data, 'B', 7, 4},   {I2C1, clock, 'B', 8, 4},
    {I2C1, data, 'B', 9, 4},   {I2C2, clock, 'B', 10, 4}, {I2C2, data, 'B', 11, 4},
    {I2C2, clock, 'F', 1, 4},  {I2C2, data, 'F', 0, 4},   {I2C2, clock, 'H', 4, 4},
    {I2C2, data, 'H', 5, 4},   {I2C3, clock, 'A', 8, 4},  {I2C3, data, 'C', 9, 4},
    {I2C3, clock, 'H', 7, 4},  {I2C3, data, 'H', 8, 4},
};

constexpr bool tx = true, rx = false;
constexpr SerialRequest requests[] = {
    {SPI1, rx, 1, 0, 3},   {SPI1, rx, 1, 2, 3},   {SPI1, tx, 1, 3, 3},   {SPI1, tx, 1, 5, 3},
    {SPI2, rx, 0, 3, 0},   {SPI2, tx, 0, 4, 0},   {SPI3, rx, 0, 0, 0},   {SPI3, rx, 0, 2, 0},
    {SPI3, tx, 0, 5, 0},   {SPI3, tx, 0, 7, 0},   {I2C1, rx, 0, 0, 1},   {I2C1, rx, 0, 5, 1},
    {I2C1, tx, 0, 6, 1},   {I2C1, tx, 0, 7, 1},   {I2C2, rx, 0, 2, 7},   {I2C2, rx, 0, 3, 7},
    {I2C2, tx, 0, 7, 7},   {I2C3, rx, 0, 2, 3},   {I2C3, tx, 0, 4, 3},   {USART1, rx, 1, 2, 4},
    {USART1, rx, 1, 5, 4}, {USART1, tx, 1, 7, 4}, {USART2, rx, 0, 5, 4}, {USART2, tx, 0, 6, 4},
    {USART3, rx, 0, 1, 4}, {USART3, tx, 0, 3, 4}, {USART3, tx, 0, 4, 7}, {UART4, rx, 0, 2, 4},
    {UART4, tx, 0, 4, 4},  {UART5, rx, 0, 0, 4},  {UART5, tx, 0, 7, 4},  {USART6, rx, 1, 1, 5},
    {USART6, rx, 1, 2, 5}, {USART6, tx, 1, 6, 5}, {USART6, tx, 1, 7, 5},
};

}  // namespace

const SerialPart stm32f405_serial{.spis = spis, .i2cs = i2cs, .wires = wires, .requests = requests};

}  // namespace stillrotor::io::cortexm
