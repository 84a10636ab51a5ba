"""Sign a PDF with the certificate of the shop: PAdES baseline B-B (ETSI EN 319 142-1).

The certificate is a file that only the account of the site can read (setting ``SIGNING_CERTIFICATE``, a
PKCS #12 file); it is no part of the database, of its backups, or of an export.
"""

import io
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings

if TYPE_CHECKING:
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign.signers import SimpleSigner

FIELD = "Signature"
FIELD_LABEL = "Electronic signature of the workshop"
YEARS_VALID = 10


class CertificateUnreadable(Exception):
    """The certificate of the shop cannot be read with the passphrase of the settings."""


@dataclass(frozen=True)
class Signature:
    """What is appended to a PDF to sign it, and the SHA-256 of the certificate."""

    appended: bytes
    certificate_sha256: str


def has_certificate() -> bool:
    return Path(settings.SIGNING_CERTIFICATE).is_file()


def sign_pdf(pdf: bytes) -> Signature:
    """Return the signature of a PDF by the certificate of the shop.

    The PDF stays as it is and the signature follows it, so the signed file is the one after the other.

    Raises
    ------
    CertificateUnreadable
        The file is no PKCS #12 file, or the passphrase is another.
    """
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers

    signer = load_signer()
    writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
    fields.append_signature_field(writer, fields.SigFieldSpec(FIELD, on_page=0))
    tag_signature_field(writer)
    metadata = signers.PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm="sha256",
        subfilter=fields.SigSeedSubFilter.PADES,
        name=signer.subject_name,
        reason="Issued as printed",
    )
    signed = io.BytesIO()
    # pyHanko starts an event loop, which a thread with a running one refuses.
    with ThreadPoolExecutor(max_workers=1) as thread:
        sign = signers.PdfSigner(metadata, signer).sign_pdf
        thread.submit(sign, writer, output=signed).result()
    certificate = signer.signing_cert
    assert certificate is not None and signed.getvalue().startswith(pdf)
    return Signature(signed.getvalue()[len(pdf) :], certificate.sha256.hex())


def load_signer() -> "SimpleSigner":
    from pyhanko.sign.signers import SimpleSigner

    path = Path(settings.SIGNING_CERTIFICATE)
    try:
        return SimpleSigner.load_pkcs12_data(
            path.read_bytes(), other_certs=[], passphrase=settings.SIGNING_PASSPHRASE.encode()
        )
    except Exception as problem:  # the library raises what its parsers raise
        raise CertificateUnreadable(
            f"The signing certificate {path.name} cannot be read. Check SIGNING_CERTIFICATE and "
            "SIGNING_PASSPHRASE."
        ) from problem


def tag_signature_field(writer: "IncrementalPdfFileWriter") -> None:
    """Name the field and enter it into the structure tree, as PDF/UA-1 (ISO 14289-1, 7.18) asks for."""
    from pyhanko.pdf_utils import generic
    from pyhanko.sign.fields import enumerate_sig_fields

    name = generic.pdf_name
    ((_, _, field),) = enumerate_sig_fields(writer)
    tree = writer.root["/StructTreeRoot"]
    body, numbers = tree["/K"][0], tree["/ParentTree"]["/Nums"]
    key = max([int(numbers[at]) for at in range(0, len(numbers), 2)], default=-1) + 1
    annotation: Any = field.get_object()
    element = generic.DictionaryObject(
        {
            name("/Type"): name("/StructElem"),
            name("/S"): name("/Form"),
            name("/P"): tree["/K"].raw_get(0),
            name("/Pg"): annotation.raw_get("/P"),
            name("/Alt"): generic.TextStringObject(FIELD_LABEL),
            name("/K"): generic.DictionaryObject({name("/Type"): name("/OBJR"), name("/Obj"): field}),
        }
    )
    reference = writer.add_object(element)
    body["/K"].append(reference)
    numbers.extend([generic.NumberObject(key), reference])
    annotation[name("/StructParent")] = generic.NumberObject(key)
    annotation[name("/TU")] = generic.TextStringObject(FIELD_LABEL)
    for changed in (body, tree["/ParentTree"], annotation):
        writer.update_container(changed)


def make_certificate(owner: str, path: Path, passphrase: str, at: datetime) -> None:
    """Write a self-signed certificate that only this account can read.

    It shows that sheets come from one and the same shop, not who the shop is: for that an authority
    has to issue the certificate.

    Raises
    ------
    FileExistsError
        There is one already; it is not replaced.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.serialization import pkcs12

    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, owner[:64])])
    usage = dict.fromkeys(
        ("key_encipherment", "data_encipherment", "key_agreement", "key_cert_sign", "crl_sign"), False
    )
    certificate = (
        x509.CertificateBuilder(subject_name=subject, issuer_name=subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - timedelta(days=1))
        .not_valid_after(at + timedelta(days=365 * YEARS_VALID))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(
            x509.KeyUsage(
                digital_signature=True,
                content_commitment=True,
                encipher_only=False,
                decipher_only=False,
                **usage,
            ),
            critical=True,
        )
        .sign(key, hashes.SHA256())
    )
    encryption = (
        serialization.BestAvailableEncryption(passphrase.encode())
        if passphrase
        else serialization.NoEncryption()
    )
    content = pkcs12.serialize_key_and_certificates(owner.encode(), key, certificate, None, encryption)
    with path.open("xb") as file:
        path.chmod(0o600)
        file.write(content)
