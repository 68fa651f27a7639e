"""Reading the code in 12-megapixel photographs, beside zbar and zxing-cpp in their own libraries, on
the same grey pixels in memory: a table of milliseconds, the best of several runs."""

import ctypes
import ctypes.util
import json
import os
import subprocess
import sys
import time
from pathlib import Path

import cv2
import zxingcpp

ROOT = Path(__file__).resolve().parents[2]
EXAMPLE = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release/examples/codes"
RUNS = 7


def best_ms(work):
    times, result = [], None
    for _ in range(RUNS):
        start = time.perf_counter()
        result = work()
        times.append(1000 * (time.perf_counter() - start))
    return min(times), result


class Zbar:
    """The scanner of libzbar, for QR codes alone (zbar.h)."""

    QRCODE, CFG_ENABLE = 64, 0

    def __init__(self):
        name = ctypes.util.find_library("zbar") or "libzbar.so.0"
        self.lib = ctypes.CDLL(name)
        for function in ["zbar_image_scanner_create", "zbar_image_create", "zbar_image_first_symbol", "zbar_symbol_next"]:
            getattr(self.lib, function).restype = ctypes.c_void_p
        self.lib.zbar_symbol_get_data.restype = ctypes.c_char_p
        self.scanner = ctypes.c_void_p(self.lib.zbar_image_scanner_create())
        self.lib.zbar_image_scanner_set_config(self.scanner, 0, self.CFG_ENABLE, 0)
        self.lib.zbar_image_scanner_set_config(self.scanner, self.QRCODE, self.CFG_ENABLE, 1)

    def read(self, grey):
        height, width = grey.shape
        image = ctypes.c_void_p(self.lib.zbar_image_create())
        self.lib.zbar_image_set_format(image, ctypes.c_ulong(int.from_bytes(b"Y800", "little")))
        self.lib.zbar_image_set_size(image, width, height)
        self.lib.zbar_image_set_data(image, grey.ctypes.data_as(ctypes.c_void_p), ctypes.c_ulong(grey.size), None)
        self.lib.zbar_scan_image(self.scanner, image)
        texts, symbol = [], self.lib.zbar_image_first_symbol(image)
        while symbol:
            texts.append(self.lib.zbar_symbol_get_data(ctypes.c_void_p(symbol)).decode())
            symbol = self.lib.zbar_symbol_next(ctypes.c_void_p(symbol))
        self.lib.zbar_image_destroy(image)
        return texts


def main():
    photos = [Path(p) for p in sys.argv[1:]] or sorted((ROOT / "demo-data/left").glob("left-*.jpg"))[:4]
    environment = os.environ | {"CODES_RUNS": str(RUNS)}
    zbar, rows = Zbar(), []
    for photo in photos:
        grey = cv2.imread(str(photo), cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION)
        run = subprocess.run([EXAMPLE, photo], capture_output=True, text=True, check=True, env=environment)
        ours = json.loads(run.stdout)[0]
        zbar_ms, zbar_texts = best_ms(lambda: zbar.read(grey))
        zxing_ms, found = best_ms(lambda: zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormat.QRCode))
        rows.append((photo.name, ours["ms"], zbar_ms, zxing_ms, len(ours["codes"]), len(zbar_texts), len(found)))
    print(f"{'reading codes, ms':24}{'ours':>9}{'zbar':>9}{'zxing-cpp':>11}{'ratio':>8}   codes read")
    for name, ours, zbar_ms, zxing_ms, *read in rows:
        print(f"{name:24}{ours:9.1f}{zbar_ms:9.1f}{zxing_ms:11.1f}{ours / min(zbar_ms, zxing_ms):8.2f}   {read}")
    labels = json.loads(subprocess.run([EXAMPLE.with_name("labels")], capture_output=True, text=True, check=True).stdout)
    print(f"\n{'labels, ms':24}{'ours':>9}{'aim':>9}{'ratio':>8}")
    for name, ms in labels.items():
        aim = 200 if name.startswith("sheet") else 50
        print(f"{name:24}{ms:9.1f}{aim:9}{ms / aim:8.2f}")


main()
