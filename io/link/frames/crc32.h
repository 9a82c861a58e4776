/* CRC-32 of IEEE 802.3: polynomial 0x04C11DB7 reflected, begins and ends inverted. "123456789"
 * gives 0xCBF43926. RT  two look-ups a byte in a table of 16 words. */
#ifndef STILLROTOR_LINK_CRC32_H
#define STILLROTOR_LINK_CRC32_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

uint32_t lf_crc32(const uint8_t* bytes, uint32_t count);

#ifdef __cplusplus
}
#endif

#endif
