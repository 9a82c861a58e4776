; Needs 40000 bytes of program memory; the part has 32768.
        .fill 20000, 2, 0
