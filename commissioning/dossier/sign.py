"""Signing a built dossier: a visible block on the cover, a signature over the whole file."""

from __future__ import annotations

import os
import tempfile
from datetime import datetime, timedelta
from pathlib import Path

from asn1crypto import keys, pem, x509
from cryptography import x509 as crypto_x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from pyhanko.pdf_utils.font.opentype import GlyphAccumulatorFactory
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.layout import AxisAlignment, InnerScaling, Margins, SimpleBoxLayoutRule
from pyhanko.pdf_utils.text import TextBoxStyle
from pyhanko.sign import signers
from pyhanko.sign.fields import SigFieldSpec
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko.stamp import TextStampStyle
from pyhanko_certvalidator.registry import SimpleCertificateStore

from commissioning.dossier import fonts
from commissioning.dossier.own_thread import in_own_thread
from commissioning.dossier.page import BOTTOM, LEFT
from commissioning.dossier.sections.front import SIGNATURE_BOX

FIELD = "Signature"
SELF_MADE = "Self-signed certificate: shows that nothing changed since, not who signed."


class _DatedSigner(signers.PdfSigner):
    """A signer whose clock is the moment it is given."""

    at: datetime

    def init_signing_session(self, *args: object, **kwargs: object) -> PdfSigningSession:
        session = super().init_signing_session(*args, **kwargs)  # type: ignore[arg-type]
        session.system_time = self.at
        return session


def sign(pdf: Path, out: Path, *, certificate: bytes, key: bytes, name: str, reason: str, at: datetime) -> Path:
    """Sign the dossier with a certificate and private key (both PEM); the unsigned bytes stay as they are.

    The certificate may be followed by those that issued it. `name` is who or what signs, `at` an aware moment.
    """
    signer = _simple_signer(certificate, key)
    own = x509.Certificate.load(_ders(certificate)[0])
    own_issue = own.self_signed in {"yes", "maybe"}
    words = _block(name=name, reason=reason, at=at, subject=own.subject, own_issue=own_issue)
    half = out.with_name(f"{out.name}.{os.getpid()}.part")
    with tempfile.TemporaryDirectory() as folder, pdf.open("rb") as source, half.open("w+b") as target:
        face = Path(folder) / "face.ttf"
        face.write_bytes(fonts.face(fonts.REGULAR).blob)
        dated = _DatedSigner(
            signers.PdfSignatureMetadata(field_name=FIELD, md_algorithm="sha256", reason=reason, name=name),
            signer=signer,
            stamp_style=_stamp(words, face),
            new_field_spec=SigFieldSpec(FIELD, box=_box(), on_page=0),
        )
        dated.at = at
        in_own_thread(dated.sign_pdf, IncrementalPdfFileWriter(source), output=target)
    os.replace(half, out)
    return out


def _box() -> tuple[int, int, int, int]:
    left, bottom, width, height = SIGNATURE_BOX
    x, y = LEFT + left, BOTTOM + bottom
    return round(x), round(y), round(x + width), round(y + height)


def _block(*, name: str, reason: str, at: datetime, subject: x509.Name, own_issue: bool) -> str:
    lines = [f"Signed by {name}", f"{at.isoformat(sep=' ', timespec='seconds')}", f"Reason: {reason}"]
    lines.append(f"Certificate: {subject.native.get('common_name', subject.human_friendly)}")
    return "\n".join([*lines, SELF_MADE] if own_issue else lines)


def _stamp(words: str, face: Path) -> TextStampStyle:
    box = TextBoxStyle(font=GlyphAccumulatorFactory(str(face)), font_size=8, leading=11, border_width=0)
    rule = SimpleBoxLayoutRule(
        AxisAlignment.ALIGN_MIN, AxisAlignment.ALIGN_MID, Margins(8, 8, 6, 6), InnerScaling.SHRINK_TO_FIT
    )
    return TextStampStyle(
        border_width=1, stamp_text=words.replace("%", "%%"), text_box_style=box, inner_content_layout=rule
    )


def _ders(certificates: bytes) -> list[bytes]:
    return [der for _, _, der in pem.unarmor(certificates, multiple=True)]


def _simple_signer(certificate: bytes, key: bytes) -> signers.SimpleSigner:
    chain = [x509.Certificate.load(der) for der in _ders(certificate)]
    private = serialization.load_pem_private_key(key, password=None)
    der = private.private_bytes(
        serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    store = SimpleCertificateStore()
    store.register_multiple(chain)
    return signers.SimpleSigner(signing_cert=chain[0], signing_key=keys.PrivateKeyInfo.load(der), cert_registry=store)


def make_demo_certificate(*, name: str, at: datetime, days: int = 3650) -> tuple[bytes, bytes]:
    """A self-signed certificate and its key (PEM), for the demo: it proves nothing about who signs."""
    key = rsa.generate_private_key(public_exponent=65537, key_size=3072)
    subject = crypto_x509.Name(
        [
            crypto_x509.NameAttribute(NameOID.COMMON_NAME, f"{name} (self-signed, demonstration only)"),
            crypto_x509.NameAttribute(NameOID.ORGANIZATIONAL_UNIT_NAME, "demonstration - proves no identity"),
        ]
    )
    usage = dict.fromkeys(
        ("key_encipherment", "data_encipherment", "key_agreement", "key_cert_sign", "crl_sign", "encipher_only",
         "decipher_only"), False,
    )  # fmt: skip
    built = (
        crypto_x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(crypto_x509.random_serial_number())
        .not_valid_before(at - timedelta(days=1))
        .not_valid_after(at + timedelta(days=days))
        .add_extension(crypto_x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(crypto_x509.KeyUsage(digital_signature=True, content_commitment=True, **usage), critical=True)
        .add_extension(crypto_x509.ExtendedKeyUsage([ExtendedKeyUsageOID.EMAIL_PROTECTION]), critical=False)
        .add_extension(crypto_x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return built.public_bytes(serialization.Encoding.PEM), private


__all__ = ["FIELD", "SELF_MADE", "make_demo_certificate", "sign"]
