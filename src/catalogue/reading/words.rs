//! Words that relate, colour, pack and grade, in the languages that shops write.
//!
//! English, German, French, Spanish, Italian, Dutch, Polish, Czech, Portuguese, Swedish; folded,
//! without accents. A new word is one more bar.

use super::What;
use super::lexicon::{Row, Word};

pub(super) const ROWS: &[Row] = &[
    (
        Word::Serves,
        "fur|fuer|for|pour|para|per|voor|dla|do|passend|passend fur|passend zu|passt zu|kompatibel|\
         kompatibel mit|compatible|compatible with|compatible avec|compatible con|compatibile con|\
         kompatybilny z|geeignet|geeignet fur|geschikt voor|suitable|suitable for|fits|bereit fur|\
         ready for|unterstutzt|supports|kompatibilni s|compativel com|kompatibel med|getestet mit|\
         tested with|teste avec|probado con|testato con|getest met|testowany z|testovano s|\
         testado com|testad med",
    ),
    (
        Word::With,
        "mit|with|avec|con|met|z|inkl|incl|inklusive|inclusive|including|includes|inclus|inclut|\
         incluye|incluso|incluse|inclusief|zawiera|w zestawie z|\
         vcetne|com|inclui|incluido|incluida|med",
    ),
    (
        Word::Without,
        "ohne|without|w o|sans|senza|sin|zonder|bez|nicht|keine|kein|no|non|exkl|excl|geen|sem|\
         utan|ej",
    ),
    (
        Word::Is(What::Colour, "black"),
        "black|schwarz|schwarze|schwarzer|schwarzes|schwarzem|noir|noire|negro|negra|nero|nera|\
         zwart|zwarte|czarny|czarna|czarne|blk|cerny|cerna|cerne|preto|preta|svart|svarta",
    ),
    (
        Word::Is(What::Colour, "white"),
        "white|weiss|weisse|weisser|weisses|weissem|blanc|blanche|blanco|blanca|bianco|bianca|wit|\
         witte|bialy|biala|biale|snow|wht|bily|bila|bile|branco|branca|vit|vita",
    ),
    (
        Word::Is(What::Colour, "grey"),
        "grey|gray|grau|graue|grauer|graues|gris|grise|grigio|grigia|grijs|grijze|szary|szara|szare|sedy|seda|sede|cinza|cinzento|cinzenta|gra|graa",
    ),
    (
        Word::Is(What::Colour, "silver"),
        "silver|silber|silbern|argent|plateado|argento|zilver|srebrny|srebrna|stribrny|stribrna|prateado|prateada|prata",
    ),
    (
        Word::Is(What::Colour, "red"),
        "red|rot|rote|roter|rotes|rouge|rojo|roja|rosso|rossa|rood|rode|czerwony|czerwona|cerveny|cervena|vermelho|vermelha|rod|roda",
    ),
    (
        Word::Is(What::Colour, "blue"),
        "blue|blau|blaue|blauer|blaues|bleu|bleue|azul|blu|blauw|blauwe|niebieski|niebieska|modry|modra|bla",
    ),
    (
        Word::Is(What::Colour, "green"),
        "green|grun|grune|gruen|vert|verte|verde|groen|groene|zielony|zielona|zeleny|zelena|gron|grona",
    ),
    (
        Word::Is(What::Colour, "pink"),
        "pink|rosa|rose|roze|rozowy|rozowa|ruzovy|ruzova",
    ),
    (Word::Is(What::Colour, "beige"), "beige|sand|creme|cream"),
    (
        Word::Is(What::Efficiency, "Bronze"),
        "bronze|bronce|bronzo|brons|braz",
    ),
    (
        Word::Is(What::Efficiency, "Gold"),
        "gold|oro|goud|ouro|guld|zlaty|zlata",
    ),
    (
        Word::Is(What::Efficiency, "Platinum"),
        "platinum|platin|platine|platino|platina|platyna",
    ),
    (
        Word::Is(What::Efficiency, "Titanium"),
        "titanium|titan|titane|titanio",
    ),
    (
        Word::Is(What::Packaging, "boxed"),
        "box|boxed|retail|wof|scatola|in scatola|en caja|en boite|in doos|pudelko",
    ),
    (
        Word::Is(What::Packaging, "tray"),
        "tray|oem|bulk|oem tray|vrac|granel",
    ),
    (
        Word::Is(What::Wear, "used"),
        "used|pouzity|pouzita|pouzite|begagnad|begagnat|begagnade|gebraucht|gebrauchte|gebrauchter|gebrauchtes|occasion|d occasion|usado|usada|usato|\
         usata|gebruikt|gebruikte|tweedehands|uzywany|uzywana|uzywane|second hand|secondhand|\
         seconde main|segunda mano|pre owned|preowned",
    ),
    (
        Word::Is(What::Wear, "refurbished"),
        "refurbished|refurb|renewed|generaluberholt|generaluberholte|reconditionne|reconditionnee|\
         reacondicionado|reacondicionada|ricondizionato|ricondizionata|gereviseerd|odnowiony|odnowiona|\
         repasovany|repasovana|repasovane|recondicionado|recondicionada|renoverad",
    ),
    (
        Word::Is(What::Wear, "open box"),
        "open box|openbox|opened box|b ware|bware|b stock|bstock|rucklaufer|ruecklaufer|\
         kundenrucklaufer|kundenretoure|retourware|vorfuhrgerat|ausstellungsstuck|ex display|\
         rozbaleno|rozbaleny|rozbalena|caixa aberta|oppnad forpackning|fyndvara|\
         verpackung beschadigt|beschadigte verpackung|ovp beschadigt|karton beschadigt|\
         damaged box|box damaged|damaged packaging|packaging damaged|emballage abime|\
         emballage endommage|boite abimee|caja danada|embalaje danado|confezione danneggiata|\
         scatola danneggiata|verpakking beschadigd|beschadigde verpakking|\
         uszkodzone opakowanie|poskozeny obal|embalagem danificada|skadad forpackning|\
         skadad kartong",
    ),
    (
        Word::Is(What::Region, "EU"),
        "eu version|eu ware|eu retail|version eu|version ue",
    ),
    (Word::Is(What::Region, "UK"), "uk version|uk plug"),
    (Word::Is(What::Region, "US"), "us version|us import"),
    (
        Word::Is(What::Modularity, "full"),
        "vollmodular|vollmod|full modular|fully modular|modular full|entierement modulaire|\
         completamente modular|full modulare|volledig modulair|w pelni modularny",
    ),
    (
        Word::Is(What::Modularity, "semi"),
        "teilmodular|semi modular|semimodular|semi modulaire|semi modulare|semimodulare|\
         semi modulair|polmodularny",
    ),
    (
        Word::Is(What::Modularity, "none"),
        "non modular|not modular|nicht modular|non modulaire|no modular|non modulare",
    ),
    (
        Word::Is(What::ModuleType, "SO-DIMM"),
        "sodimm|so dimm|notebook ram|laptop ram|laptop memory|notebook speicher|notebook memory",
    ),
    (Word::Is(What::ModuleType, "UDIMM"), "udimm|dimm|u dimm"),
    (
        Word::Is(What::ModuleType, "RDIMM"),
        "rdimm|r dimm|registered dimm",
    ),
    (
        Word::Is(What::FormFactor, "microATX"),
        "matx|m atx|micro atx|microatx|uatx|u atx|mikro atx",
    ),
    (
        Word::Is(What::FormFactor, "Mini-ITX"),
        "mini itx|miniitx|m itx|mitx|itx",
    ),
    (
        Word::Is(What::FormFactor, "E-ATX"),
        "eatx|e atx|extended atx",
    ),
    (Word::Is(What::FormFactor, "ATX"), "atx"),
    (Word::Is(What::FormFactor, "SFX-L"), "sfx l|sfxl"),
    (Word::Is(What::FormFactor, "SFX"), "sfx"),
    (Word::Is(What::FormFactor, "TFX"), "tfx"),
    (Word::Is(What::Interface, "PCIe"), "nvme"),
    (
        Word::Is(What::Interface, "SATA"),
        "sata|sata ii|sata iii|s ata",
    ),
    (
        Word::Counts(What::Pack, 2),
        "dual fan kit|twin fan kit|dual fan pack|dois pacotes|doppelpack|twin pack|twinpack|double pack|dual pack|duo pack|duopack|zweierpack|dubbelpak|\
         pack double|dwupak",
    ),
    (
        Word::Counts(What::Pack, 3),
        "triple fan kit|triple fan pack|triple kit|trio kit|triple pack|triplepack|tri pack|tripack|trio pack|dreierpack|dreierset|pack triple|pack of three|set of three|lot de trois",
    ),
    (Word::Counts(What::Pack, 4), "quad pack|quadpack|viererpack"),
    (Word::Counts(What::Pack, 5), "funferpack|five pack"),
    (
        Word::Counts(What::Modules, 1),
        "einzelmodul|single module|einzelriegel|module unique|modulo singolo|modulo unico",
    ),
    (
        Word::Counts(What::Modules, 2),
        "dual kit|dualkit|doppelkit|kit dual|dual channel kit",
    ),
    (
        Word::Counts(What::Modules, 4),
        "quad kit|quadkit|kit quad|quad channel kit",
    ),
    (Word::Feature("wifi"), "wifi|wi fi|wlan|w lan|wireless"),
    (
        Word::Feature("tg"),
        "tg|tempered glass|glasfenster|hartglas|echtglas|glas|glass|verre trempe|verre|\
         vetro temperato|vetro|cristal templado|vidrio templado|gehard glas|szklo hartowane|hartowane szklo|szklem hartowanym|hartowanym szklem|\
         szkla hartowanego|szklo|szklem|szyba|szyba hartowana|cristal|vidrio|vitre|paroi vitree|glazen|\
         seitenglas|temperglas",
    ),
    (
        Word::Feature("heatsink"),
        "heatsink|heat sink|kuhlkorper|kuehlkoerper|kuehlkorper|dissipateur|dissipateur thermique|\
         disipador|dissipatore|koellichaam|koelblok|radiatorem|radiator m|heatspreader",
    ),
    (
        Word::Feature("argb"),
        "argb|a rgb|a argb|a led rgb|addressable rgb|adressierbar rgb|d rgb|drgb",
    ),
    (Word::Feature("rgb"), "rgb"),
    (
        Word::Feature("low"),
        "low|low profile|basso profilo|perfil bajo|profil bas",
    ),
    (
        Word::Variant,
        "ti|xt|xtx|super|pro|plus|max|lite|slim|elite|evo|ultra|oc|se|xl|xxl|xs|mini|nano|extreme|prime|gt|\
         x|s|k|f|kf|ks|g|t|v|ii|iii|xe",
    ),
];
