"""A disc's label as a page of PDF at true size: its serial's number in large type, the whole serial below it."""

import io

from mastering.errors import MasteringError

WIDTH_MM, HEIGHT_MM = 70.0, 30.0
_NUMBER_POINTS, _SERIAL_POINTS = 40, 12


def label_pdf(serial: str, number: str) -> bytes:
    """The page of one label. MasteringError where the library for it is not installed."""
    try:
        from reportlab.lib.units import mm
        from reportlab.pdfgen.canvas import Canvas
    except ImportError as error:
        raise MasteringError("labels need the package reportlab: pip install 'obverse[reports]'") from error
    data = io.BytesIO()
    canvas = Canvas(data, pagesize=(WIDTH_MM * mm, HEIGHT_MM * mm), invariant=1)  # no time and no random id in it
    canvas.setTitle(serial)
    canvas.setFont("Helvetica-Bold", _NUMBER_POINTS)
    canvas.drawCentredString(WIDTH_MM * mm / 2, HEIGHT_MM * mm * 0.45, number)
    canvas.setFont("Helvetica", _SERIAL_POINTS)
    canvas.drawCentredString(WIDTH_MM * mm / 2, HEIGHT_MM * mm * 0.18, serial)
    canvas.showPage()
    canvas.save()
    return data.getvalue()
