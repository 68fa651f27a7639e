//! The words an order chooses from.

use crate::words::words;

words! {
    /// State of an order.
    OrderState {
        Draft = "draft", "draft", "Entwurf";
        Signed = "signed", "signed", "unterschrieben";
        HandedOver = "handed_over", "handed over", "übergeben";
        LabHold = "lab_hold", "on hold at the lab", "in der Werkstatt angehalten";
        Received = "received", "received", "eingegangen";
        Fitted = "fitted", "fitted", "angepasst";
        Reviewed = "reviewed", "reviewed", "nachkontrolliert";
        Remade = "remade", "remade", "neu angefertigt";
        Closed = "closed", "closed", "abgeschlossen";
        Withdrawn = "withdrawn", "withdrawn", "zurückgezogen";
    }
    /// Where a value of the order came from.
    Origin {
        Measured = "measured", "measured on the cast", "am Abdruck gemessen";
        Examined = "examined", "from the examination", "aus der Untersuchung";
        LegDimension = "leg_dimension", "measured on the leg", "am Bein gemessen";
        Computed = "computed", "computed", "berechnet";
        Rule = "rule", "suggested by a rule", "von einer Regel vorgeschlagen";
        Clinic = "clinic", "the clinic's own default", "eigene Vorgabe der Praxis";
        Earlier = "earlier", "from the order before", "aus dem Auftrag davor";
        Typed = "typed", "typed", "eingegeben";
    }
    /// What the hinge allows in one direction.
    MotionKind {
        Free = "free", "free", "frei";
        Stopped = "stopped", "stopped", "mit Anschlag";
        Assisted = "assisted", "assisted", "unterstützt";
        Blocked = "blocked", "blocked", "gesperrt";
    }
    /// Whether a stop can be set later.
    StopKind {
        Fixed = "fixed", "fixed", "fest";
        Adjustable = "adjustable", "adjustable", "einstellbar";
    }
    /// How strong an assist is.
    AssistLevel {
        Low = "low", "low", "schwach";
        Medium = "medium", "medium", "mittel";
        High = "high", "high", "stark";
    }
    /// Hinge on both sides or on one.
    HingeSides {
        Both = "both", "both sides", "beidseitig";
        MedialOnly = "medial_only", "medial only", "nur medial";
        LateralOnly = "lateral_only", "lateral only", "nur lateral";
    }
    /// The ankle angle on the bench.
    BenchAngle {
        AsCast = "as_cast", "as cast", "wie abgeformt";
        RightAngle = "right_angle", "90°", "90°";
        Degrees = "degrees", "at a stated angle", "in angegebenem Winkel";
    }
    /// The line the hinges are set to.
    HingeLineKind {
        OwnMarks = "own_marks", "through the patient's own marks", "durch die eigenen Markierungen";
        Level = "level", "level, turned outward", "waagrecht, nach außen gedreht";
        Typed = "typed", "as typed", "wie eingegeben";
    }
    /// The landmark that hinge offsets count from.
    HingeDatum {
        Apex = "apex", "from the apex of the malleolus", "von der Knöchelspitze";
        LowerPole = "lower_pole", "from the lower pole of the malleolus", "vom unteren Knöchelpol";
    }
    /// Where the footplate ends.
    FootplateEnd {
        BehindMtp = "behind_mtp", "behind the MTP joints", "hinter den Grundgelenken";
        Sulcus = "sulcus", "at the sulcus", "am Zehensulkus";
        Full = "full", "full length", "volle Länge";
    }
    /// How much the arch of the cast is filled.
    ArchFill {
        Less = "less", "less", "weniger";
        Standard = "standard", "standard", "üblich";
        More = "more", "more", "mehr";
    }
    /// Rearfoot post.
    RearfootPost {
        None = "none", "none", "keine";
        Vertical = "vertical", "to vertical", "senkrecht";
        Inverted = "inverted", "inverted", "invertiert";
        Everted = "everted", "everted", "evertiert";
    }
    /// Forefoot correction.
    ForefootCorrection {
        None = "none", "none", "keine";
        Balance = "balance", "balance", "Ausgleich";
        Wedge = "wedge", "wedge", "Keil";
    }
    /// Under which edge of the forefoot.
    ForefootUnder {
        First = "first", "under the first", "unter dem ersten";
        Fifth = "fifth", "under the fifth", "unter dem fünften";
    }
    /// Skive of the heel.
    Skive {
        None = "none", "none", "keine";
        Medial = "medial", "medial", "medial";
        Lateral = "lateral", "lateral", "lateral";
    }
    /// Wedge at the shoe.
    ShoeWedge {
        None = "none", "none", "keiner";
        MedialHeel = "medial_heel", "medial, heel", "medial, Absatz";
        LateralHeel = "lateral_heel", "lateral, heel", "lateral, Absatz";
        MedialFull = "medial_full", "medial, full length", "medial, ganze Länge";
        LateralFull = "lateral_full", "lateral, full length", "lateral, ganze Länge";
    }
    /// Where a strap runs.
    StrapPlace {
        Calf = "calf", "calf", "Wade";
        Ankle = "ankle", "ankle", "Knöchel";
        Instep = "instep", "instep", "Rist";
        Forefoot = "forefoot", "forefoot", "Vorfuß";
    }
    /// Side a strap closes on.
    StrapSide {
        Medial = "medial", "closes medially", "schließt medial";
        Lateral = "lateral", "closes laterally", "schließt lateral";
    }
    /// How a strap is held.
    StrapHold {
        Ring = "ring", "ring", "Ring";
        Loop = "loop", "loop", "Schlaufe";
    }
    /// How a shoe closes.
    ShoeClosure {
        Laces = "laces", "laces", "Schnürung";
        HookAndLoop = "hook_and_loop", "hook and loop", "Klettverschluss";
        Zip = "zip", "zip", "Reißverschluss";
        SlipOn = "slip_on", "slip-on", "Schlupfschuh";
    }
    /// What was sent with the cast to show the shoe.
    ShoeSent {
        Nothing = "nothing", "nothing", "nichts";
        Tracing = "tracing", "a tracing of the insole", "Umriss der Einlegesohle";
        Shoe = "shoe", "the shoe", "der Schuh";
    }
    /// What becomes of the cast.
    CastAfterwards {
        Return = "return", "return the cast", "Abdruck zurücksenden";
        Destroy = "destroy", "destroy the cast", "Abdruck vernichten";
    }
    /// Whether a trial fit comes before finishing.
    TrialFit {
        None = "none", "finish without a trial fit", "ohne Anprobe fertigstellen";
        BeforeFinish = "before_finish", "trial fit before finishing", "Anprobe vor Fertigstellung";
    }
    /// Where on the leg or foot a pad or relief sits.
    Place {
        MedialMalleolus = "medial_malleolus", "medial malleolus", "Innenknöchel";
        LateralMalleolus = "lateral_malleolus", "lateral malleolus", "Außenknöchel";
        Navicular = "navicular", "navicular", "Kahnbein";
        FifthBase = "fifth_base", "base of the fifth metatarsal", "Basis Metatarsale V";
        FirstMtp = "first_mtp", "first MTP joint", "Großzehengrundgelenk";
        FifthMtp = "fifth_mtp", "fifth MTP joint", "Kleinzehengrundgelenk";
        Heel = "heel", "heel", "Ferse";
        AchillesTendon = "achilles_tendon", "Achilles tendon", "Achillessehne";
        ShinCrest = "shin_crest", "crest of the shin", "Schienbeinkante";
        FibularHead = "fibular_head", "fibular head", "Wadenbeinköpfchen";
        CalfBand = "calf_band", "calf band", "Wadenband";
        Arch = "arch", "arch", "Längsgewölbe";
    }
}
