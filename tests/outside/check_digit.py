"""Whether ten-digit numbers carry the right check digit, modulus 11. Standard library only.

Rule as published for the ten-digit number of a national health service: multiply the first nine digits by 10, 9 ... 2,
add, take the remainder by 11 from 11; 11 counts as 0, 10 is no check digit.
"""

import json
import sys

for number in sys.stdin.read().split():
    check = (11 - sum(int(d) * w for d, w in zip(number, range(10, 1, -1))) % 11) % 11
    print(json.dumps(check == int(number[9])))
