// SPDX-License-Identifier: Apache-2.0

package voice

import (
	"maps"
	"slices"

	"tallyhood/audio"
)

// reviewed are the languages whose texts a person who speaks them has read.
// The texts of all others are machine-made, not reviewed: this is the one place
// that says so, and Part passes it on.
var reviewed = map[string]bool{"en": true}

const machineMade = "machine-made, not reviewed"

// Reviewed says whether somebody who speaks the language has read its texts.
func Reviewed(language string) bool { return reviewed[language] }

// Languages lists the languages that there are texts for, sorted.
func Languages() []string { return slices.Sorted(maps.Keys(catalogue)) }

// Text gives what a cue says in a language; empty when there is no text.
func Text(language string, c audio.Cue) string { return catalogue[language].texts[c] }

// texts of one language, and what espeak-ng calls the voice that speaks it.
type language struct {
	voice string
	texts map[audio.Cue]string
}

// ForWearer are the cues that the person under the hood acts on. They are
// spoken in the wearer's languages; all others in the tester's.
// The list is not to be changed.
func ForWearer() []audio.Cue { return forWearer }

var forWearer = append(audio.SpokenExercises(), audio.SayPressOnceMore)

// All texts are ours and short: what a person with both hands full can act on,
// and, where something is due soon after, no longer than 1.6 s.
var catalogue = map[string]language{
	"en": {"en-gb", map[audio.Cue]string{
		audio.SayNormalBreathing:      "Normal breathing",
		audio.SayDeepBreathing:        "Deep breathing",
		audio.SayHeadSideToSide:       "Head side to side",
		audio.SayHeadUpAndDown:        "Head up and down",
		audio.SayTalking:              "Talking",
		audio.SayBendingOver:          "Bending over",
		audio.SayNormalBreathingAgain: "Normal breathing again",
		audio.SaySqueezes5:            "Five squeezes",
		audio.SaySqueezes10:           "Ten squeezes",
		audio.SaySqueezes15:           "Fifteen squeezes",
		audio.SaySqueezes20:           "Twenty squeezes",
		audio.SaySqueezes30:           "Thirty squeezes",
		audio.SayTopUpLate:            "Top-up late",
		audio.SayFinishDose:           "Finish the dose",
		audio.SayTopUpMissed:          "Top-up missed",
		audio.SayPressOnceMore:        "Press the button once more",
		audio.SayStop:                 "Stop. Hood off",
		audio.SayNotValid:             "Not valid",
		audio.SayPassed:               "Passed",
		audio.SayButtonFault:          "Check the button",
		audio.SayLook:                 "Look at the screen",
		audio.SaySoundBack:            "Sound is back",
		audio.SayParkedReady:          "Waiting run ready",
	}},
	"es": {"es-419", map[audio.Cue]string{
		audio.SayNormalBreathing:      "Respiración normal",
		audio.SayDeepBreathing:        "Respiración profunda",
		audio.SayHeadSideToSide:       "Cabeza a los lados",
		audio.SayHeadUpAndDown:        "Cabeza arriba y abajo",
		audio.SayTalking:              "Hablar",
		audio.SayBendingOver:          "Inclinarse",
		audio.SayNormalBreathingAgain: "Otra vez normal",
		audio.SaySqueezes5:            "Cinco apretones",
		audio.SaySqueezes10:           "Diez apretones",
		audio.SaySqueezes15:           "Quince apretones",
		audio.SaySqueezes20:           "Veinte apretones",
		audio.SaySqueezes30:           "Treinta apretones",
		audio.SayTopUpLate:            "Dosis atrasada",
		audio.SayFinishDose:           "Termine la dosis",
		audio.SayTopUpMissed:          "Dosis perdida",
		audio.SayPressOnceMore:        "Pulse el botón otra vez",
		audio.SayStop:                 "Alto. Fuera la capucha",
		audio.SayNotValid:             "No válido",
		audio.SayPassed:               "Aprobado",
		audio.SayButtonFault:          "Revise el botón",
		audio.SayLook:                 "Mire la pantalla",
		audio.SaySoundBack:            "El sonido ha vuelto",
		audio.SayParkedReady:          "La otra prueba está lista",
	}},
	"fr": {"fr-fr", map[audio.Cue]string{
		audio.SayNormalBreathing:      "Respiration normale",
		audio.SayDeepBreathing:        "Respiration profonde",
		audio.SayHeadSideToSide:       "Tête à gauche, à droite",
		audio.SayHeadUpAndDown:        "Tête en haut, en bas",
		audio.SayTalking:              "Parler",
		audio.SayBendingOver:          "Se pencher",
		audio.SayNormalBreathingAgain: "De nouveau normale",
		audio.SaySqueezes5:            "Cinq pressions",
		audio.SaySqueezes10:           "Dix pressions",
		audio.SaySqueezes15:           "Quinze pressions",
		audio.SaySqueezes20:           "Vingt pressions",
		audio.SaySqueezes30:           "Trente pressions",
		audio.SayTopUpLate:            "Dose en retard",
		audio.SayFinishDose:           "Terminez la dose",
		audio.SayTopUpMissed:          "Dose manquée",
		audio.SayPressOnceMore:        "Appuyez encore une fois",
		audio.SayStop:                 "Stop. Enlevez la cagoule",
		audio.SayNotValid:             "Non valide",
		audio.SayPassed:               "Réussi",
		audio.SayButtonFault:          "Vérifiez le bouton",
		audio.SayLook:                 "Regardez l'écran",
		audio.SaySoundBack:            "Le son est revenu",
		audio.SayParkedReady:          "L'autre test est prêt",
	}},
	"pl": {"pl", map[audio.Cue]string{
		audio.SayNormalBreathing:      "Zwykły oddech",
		audio.SayDeepBreathing:        "Głęboki oddech",
		audio.SayHeadSideToSide:       "Głowa na boki",
		audio.SayHeadUpAndDown:        "Głowa w górę i w dół",
		audio.SayTalking:              "Mówienie",
		audio.SayBendingOver:          "Skłony",
		audio.SayNormalBreathingAgain: "Znów zwykły oddech",
		audio.SaySqueezes5:            "Pięć naciśnięć",
		audio.SaySqueezes10:           "Dziesięć naciśnięć",
		audio.SaySqueezes15:           "Piętnaście naciśnięć",
		audio.SaySqueezes20:           "Dwadzieścia naciśnięć",
		audio.SaySqueezes30:           "Trzydzieści naciśnięć",
		audio.SayTopUpLate:            "Dawka spóźniona",
		audio.SayFinishDose:           "Dokończ dawkę",
		audio.SayTopUpMissed:          "Dawka pominięta",
		audio.SayPressOnceMore:        "Naciśnij jeszcze raz",
		audio.SayStop:                 "Stop. Zdjąć kaptur",
		audio.SayNotValid:             "Nieważne",
		audio.SayPassed:               "Zaliczone",
		audio.SayButtonFault:          "Sprawdź przycisk",
		audio.SayLook:                 "Spójrz na ekran",
		audio.SaySoundBack:            "Dźwięk wrócił",
		audio.SayParkedReady:          "Druga próba gotowa",
	}},
	"ro": {"ro", map[audio.Cue]string{
		audio.SayNormalBreathing:      "Respirație normală",
		audio.SayDeepBreathing:        "Respirație adâncă",
		audio.SayHeadSideToSide:       "Capul stânga, dreapta",
		audio.SayHeadUpAndDown:        "Capul sus și jos",
		audio.SayTalking:              "Vorbire",
		audio.SayBendingOver:          "Aplecare",
		audio.SayNormalBreathingAgain: "Din nou normal",
		audio.SaySqueezes5:            "Cinci apăsări",
		audio.SaySqueezes10:           "Zece apăsări",
		audio.SaySqueezes15:           "Cincisprezece apăsări",
		audio.SaySqueezes20:           "Douăzeci de apăsări",
		audio.SaySqueezes30:           "Treizeci de apăsări",
		audio.SayTopUpLate:            "Doză întârziată",
		audio.SayFinishDose:           "Terminați doza",
		audio.SayTopUpMissed:          "Doză ratată",
		audio.SayPressOnceMore:        "Apăsați încă o dată",
		audio.SayStop:                 "Stop. Scoateți gluga",
		audio.SayNotValid:             "Nevalid",
		audio.SayPassed:               "Reușit",
		audio.SayButtonFault:          "Verificați butonul",
		audio.SayLook:                 "Priviți ecranul",
		audio.SaySoundBack:            "Sunetul a revenit",
		audio.SayParkedReady:          "Celălalt test e gata",
	}},
	"pt": {"pt", map[audio.Cue]string{
		audio.SayNormalBreathing:      "Respiração normal",
		audio.SayDeepBreathing:        "Respiração profunda",
		audio.SayHeadSideToSide:       "Cabeça para os lados",
		audio.SayHeadUpAndDown:        "Cabeça acima e abaixo",
		audio.SayTalking:              "Falar",
		audio.SayBendingOver:          "Inclinar-se",
		audio.SayNormalBreathingAgain: "De novo, normal",
		audio.SaySqueezes5:            "Cinco apertos",
		audio.SaySqueezes10:           "Dez apertos",
		audio.SaySqueezes15:           "Quinze apertos",
		audio.SaySqueezes20:           "Vinte apertos",
		audio.SaySqueezes30:           "Trinta apertos",
		audio.SayTopUpLate:            "Dose atrasada",
		audio.SayFinishDose:           "Termine a dose",
		audio.SayTopUpMissed:          "Dose perdida",
		audio.SayPressOnceMore:        "Prima o botão outra vez",
		audio.SayStop:                 "Pare. Tire o capuz",
		audio.SayNotValid:             "Não válido",
		audio.SayPassed:               "Aprovado",
		audio.SayButtonFault:          "Verifique o botão",
		audio.SayLook:                 "Olhe para o ecrã",
		audio.SaySoundBack:            "O som voltou",
		audio.SayParkedReady:          "O outro teste está pronto",
	}},
	"ar": {"ar", map[audio.Cue]string{
		audio.SayNormalBreathing:      "تنفس عادي",
		audio.SayDeepBreathing:        "تنفس عميق",
		audio.SayHeadSideToSide:       "الرأس يمين يسار",
		audio.SayHeadUpAndDown:        "الرأس أعلى وأسفل",
		audio.SayTalking:              "تكلم",
		audio.SayBendingOver:          "انحناء",
		audio.SayNormalBreathingAgain: "عادي مجددا",
		audio.SaySqueezes5:            "خمس ضغطات",
		audio.SaySqueezes10:           "عشر ضغطات",
		audio.SaySqueezes15:           "خمس عشرة ضغطة",
		audio.SaySqueezes20:           "عشرون ضغطة",
		audio.SaySqueezes30:           "ثلاثون ضغطة",
		audio.SayTopUpLate:            "الجرعة متأخرة",
		audio.SayFinishDose:           "أكمل الجرعة",
		audio.SayTopUpMissed:          "الجرعة فائتة",
		audio.SayPressOnceMore:        "اضغط مرة أخرى",
		audio.SayStop:                 "توقف. انزع الغطاء",
		audio.SayNotValid:             "غير صالح",
		audio.SayPassed:               "ناجح",
		audio.SayButtonFault:          "افحص الزر",
		audio.SayLook:                 "انظر إلى الشاشة",
		audio.SaySoundBack:            "عاد الصوت",
		audio.SayParkedReady:          "الاختبار الآخر جاهز",
	}},
}
