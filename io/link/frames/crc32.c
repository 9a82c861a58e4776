#include "io/link/frames/crc32.h"

/* What four bits leave behind: each entry four shifts of the reflected polynomial 0xEDB88320. */
static const uint32_t of_four_bits[16] = {0x00000000U, 0x1DB71064U, 0x3B6E20C8U, 0x26D930ACU,
                                          0x76DC4190U, 0x6B6B51F4U, 0x4DB26158U, 0x5005713CU,
                                          0xEDB88320U, 0xF00F9344U, 0xD6D6A3E8U, 0xCB61B38CU,
                                          0x9B64C2B0U, 0x86D3D2D4U, 0xA00AE278U, 0xBDBDF21CU};

uint32_t lf_crc32(const uint8_t* bytes, uint32_t count) {
  uint32_t crc = ~0U;
  for (uint32_t k = 0; k < count; ++k) {
    crc ^= bytes[k];
    crc = crc >> 4 ^ of_four_bits[crc & 15U];
    crc = crc >> 4 ^ of_four_bits[crc & 15U];
  }
  return ~crc;
}
