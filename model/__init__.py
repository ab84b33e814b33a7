"""One shaft: materials, layup, wall, stiffness, bench tests, strength, mass, cost."""

from model.batch import (
    GRADIENTS,
    BatchReport,
    Conditions,
    Layups,
    Sheet,
    Work,
    evaluate_batch,
    layups_of,
    workspace,
)
from model.compiled import compiled, compiled_entry, fingerprint
from model.design import (
    Bench,
    Cutting,
    Design,
    Finish,
    Flag,
    Shaft,
    design_id,
)
from model.design_checks import (
    check_bench,
    check_bleed,
    check_finish,
    mandrel_fault,
)
from model.design_file import (
    RunOuts,
    RunOutText,
    RunOuts,
    RunOutText,
    design_from_text,
    design_to_text,
    open_design,
    read_design,
)
from model.errors import Fault, InputError, ModelRangeError, nearest, suggestion
from model.fields import (
    AngleText,
    Choice,
    OneOf,
    Quantity,
    Reader,
    Text,
    Whole,
    YesNo,
    quoted,
    show_value,
)
from model.files import read_text
from model.library import (
    Fibre,
    Library,
    Mandrel,
    Ply,
    Prepreg,
    Resin,
    read_library,
)
from model.metrics import METRIC, METRICS, SHOP_MEASURES, Metric
from model.reading import (
    FORBID_EXTRA,
    FORMAT,
    Document,
    open_document,
    parse_document,
)
from model.shaft import (
    FlagReport,
    Profile,
    Report,
    StrengthPoint,
    angle_text,
    evaluate,
)
from model.units import (
    DIMENSIONS,
    FlagAngle,
    QuantityError,
    format_quantity,
    read_quantity,
    write_flag_angle,
    write_quantity,
)
