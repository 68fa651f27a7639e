"""Reading the code in 12-megapixel photographs, beside zbar and zxing-cpp in their own libraries, on
the same grey pixels in memory, the best of several runs; and labels from their data to pictures."""

import ctypes
import ctypes.util
import json
import os
import subprocess
import time

import cv2
import zxingcpp

from programs import ROOT, TARGET, row

EXAMPLES = TARGET / "examples"
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


def rows():
    environment = os.environ | {"CODES_RUNS": str(RUNS)}
    zbar = Zbar()
    for photo in sorted((ROOT / "demo-data").glob("*/*-?.jpg")):
        grey = cv2.imread(str(photo), cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION)
        run = subprocess.run([EXAMPLES / "codes", photo], capture_output=True, text=True, check=True, env=environment)
        ours = json.loads(run.stdout)[0]
        zbar_ms, zbar_texts = best_ms(lambda: zbar.read(grey))
        zxing_ms, found = best_ms(lambda: zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormat.QRCode))
        best, name = min((zbar_ms, "zbar"), (zxing_ms, "zxing-cpp"))
        read = f"codes read {len(ours['codes'])}, zbar {len(zbar_texts)}, zxing-cpp {len(found)}"
        # Where none of the three reads one, ours looks on in ways that the others have not.
        aim = {"aim": "<= 1 x"} if ours["codes"] or zbar_texts or found else {}
        yield row(f"the code in {photo.name}, 12 megapixels", "ms", ours["ms"], beside=best, reference=f"{name}; {read}", **aim)
    labels = json.loads(subprocess.run([EXAMPLES / "labels"], capture_output=True, text=True, check=True).stdout)
    for name, ms in labels.items():
        aim = 200 if name.startswith("sheet") else 50
        yield row(f"label {name}" if aim == 50 else name, "ms", ms, aim=f"<= {aim}")
