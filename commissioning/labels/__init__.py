"""Labels with the QR code of a tag: codes, common label stock, and the sheet as a PDF. No database here."""
